"""`materials`: the register."""

from __future__ import annotations

import click

from cli.options import folder_option, json_option, open_chosen
from cli.output import say, say_json, width


@click.group(invoke_without_command=True)
@json_option
@folder_option
@click.pass_context
def materials(context: click.Context, as_json: bool) -> None:
    """The register: all materials by kind; `materials show NAME` tells all that is known of one."""
    if context.invoked_subcommand is not None:
        return
    from formulary.materials.text import material_json, render_materials

    with open_chosen() as folder:
        register = folder.register
    if as_json:
        say_json([material_json(register[name]) for name in sorted(register)])
    else:
        say(render_materials(register, width=width()))


@materials.command("show")
@click.argument("name")
@json_option
@folder_option
def show_material(name: str, as_json: bool) -> None:
    """All that is known of a material, where it is from, and how its working value was chosen."""
    from formulary.errors import InputError
    from formulary.materials.text import material_json, render_material

    with open_chosen() as folder:
        register = folder.register
    if name not in register:
        near = register.nearest(name)
        do = f"did you mean {' or '.join(near)}?" if near else f"add materials/{name}.yaml"
        raise InputError.of("unknown-material", f"no material is called {name[:40]!r}", do)
    if as_json:
        say_json(material_json(register[name]))
    else:
        say(render_material(register[name], width=width()))
