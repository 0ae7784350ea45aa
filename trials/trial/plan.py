"""The frozen plan of a trial: everything that its numbers rest on, as text that reads back as the same plan.

The text holds the exact recipe, every material value that was used with its source, the settings, the edition of the
calculation and the planned grams line by line. A trial's numbers are worked out from it and never change by themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from formulary.batch.model import ROLES, Batch, Pot, PotLine, PotPortion
from formulary.batch.weigh_out import EDITION
from formulary.document.fields import Fields, read_file
from formulary.document.parse import MAX_SCALAR
from formulary.document.write import Inline, Quoted, render_document
from formulary.errors import InputError
from formulary.finding import Finding, Severity, error, has_errors
from formulary.identity import blob_id
from formulary.materials.frozen import material_tree, read_material_tree
from formulary.materials.model import Material
from formulary.quantity import Kind
from formulary.read_only import ReadOnly
from formulary.recipes.model import STAGES, Recipe
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version
from formulary.settings import Settings, for_calculation, read_settings, settings_tree
from trials.trial.digest import bring_back, is_altered, with_digest
from trials.trial.lot_use_text import lots_tree, read_lot_uses
from trials.trial.model import LotUse, Plan

_HEAD = """What was planned when the trial was started, frozen. Its numbers are worked out from this file alone.
Do not change it: what differed from the plan stands under as_made in trial.yaml."""
_WATER_RULES = ("replaces", "extra")


def make_plan(
    version: Version,
    batch: Batch,
    materials: Mapping[str, Material],
    settings: Settings,
    *,
    size: tuple[str, str] | None = None,
    lots: Mapping[str, tuple[LotUse, ...]] | None = None,
) -> Plan:
    """The plan of a batch, with the values of every material in the pot.

    batch: the version worked out. materials: by name, as the register has them. lots: material -> the lots whose
    certificates the batch was worked out with, and the grams of each of several. size: how it was asked for, ("oils",
    "1000 g"); the oils unless given.
    Raises InputError for a recipe text too long to be kept.
    """
    if len(version.text) > MAX_SCALAR:
        what = f"the recipe's file has {len(version.text)} characters, too many to be kept with a trial"
        raise InputError.of("recipe-too-long", what, "move long notes to a file beside it")
    names = dict.fromkeys(line.material for line in batch.pot.lines)
    return Plan(
        edition=EDITION,
        recipe=version.recipe,
        recipe_text=version.text,
        version=version.id,
        label=version.label if version.is_saved else None,
        materials=ReadOnly({name: materials[name] for name in names}),
        lots=ReadOnly({name: lot for name, lot in (lots or {}).items() if name in names}),
        settings=for_calculation(settings),
        size=size or ("oils", f"{exact(batch.oil_mass_g):f} g"),
        oil_mass_g=batch.oil_mass_g,
        batter_g=batch.batter_grams,
        pot=batch.pot,
        findings=tuple(
            Finding(finding.severity, finding.code, finding.what, finding.do)
            for finding in batch.findings
            if finding.severity is not Severity.NOTE
        ),
    )


def render_plan(plan: Plan) -> str:
    """A plan as the text of planned.yaml; `parse_plan` reads back the same plan."""
    tree: dict[str, Any] = {
        "format": 1,
        "edition": Quoted(plan.edition),
        "recipe": plan.slug,
        "version": Quoted(plan.version),
    }
    if plan.label is not None:
        tree["label"] = Quoted(plan.label)
    tree["size"] = Inline({plan.size[0]: plan.size[1]})
    tree["oil_mass"] = _grams(plan.oil_mass_g)
    tree["batter"] = _grams(plan.batter_g)
    tree["pot"] = [_line_tree(line) for line in plan.pot.lines]
    if plan.pot.portions:
        tree["portions"] = [
            Inline(name=portion.name, fraction=exact(portion.share), by_eye=exact(portion.by_eye))
            for portion in plan.pot.portions
        ]
    if plan.findings:
        tree["findings"] = [
            {"severity": item.severity.value, "code": item.code, "what": Quoted(item.what), "do": Quoted(item.do)}
            for item in plan.findings
        ]
    if plan.lots:
        tree["lots"] = {name: lots_tree(uses) for name, uses in plan.lots.items()}
    tree["settings"] = settings_tree(plan.settings)
    tree["materials"] = {name: material_tree(material) for name, material in plan.materials.items()}
    tree["recipe_text"] = plan.recipe_text
    return with_digest(render_document(tree, comment=_HEAD))


def parse_plan(data: bytes | str, path: str | None = None) -> tuple[Plan | None, tuple[Finding, ...]]:
    """The plan in the content of a planned.yaml, and every fault found in it; no plan when any is an error."""

    def read(fields: Fields) -> Plan | None:
        plan = _read_plan(fields)
        _check_digest(fields, data)
        return plan

    plan, findings = read_file(data, path, read)
    return (None if has_errors(findings) else plan), findings


def _check_digest(fields: Fields, data: bytes | str) -> None:
    if is_altered(fields, data):
        what = "this plan is not as it was frozen: something in the file was changed"
        do = f"{bring_back(fields)}; what differed on the day belongs under as_made in trial.yaml"
        fields.report("plan-altered", what, do, fields.scalar("digest"), "digest")


def _read_plan(fields: Fields) -> Plan | None:
    fields.check_format()
    fields.text("digest", required=True)
    edition = fields.text("edition", required=True)
    slug = fields.slug("recipe", required=True)
    version = fields.text("version", required=True)
    label = fields.text("label")
    size = _read_size(fields)
    oil_mass_g = fields.amount("oil_mass", "g", Kind.MASS, required=True)
    batter_g = fields.amount("batter", "g", Kind.MASS, required=True)
    lines = _read_lines(fields)
    portions = _read_portions(fields)
    findings = _read_findings(fields)
    settings_block = fields.block_of("settings", required=True)
    settings = Settings() if settings_block is None else read_settings(settings_block)
    materials = read_frozen_materials(fields)
    lots = _read_lots(fields, materials)
    text = fields.text("recipe_text", required=True)
    fields.finish()
    recipe = None if text is None or slug is None else _read_kept_recipe(fields, text, slug, version)
    for line in lines:
        if line.material not in materials and not has_errors(fields.findings):
            what = f"no values of {line.material} are kept here"
            fields.report("plan-altered", what, bring_back(fields), None, "materials")
    if edition is None or version is None or size is None or recipe is None or text is None:
        return None
    if oil_mass_g is None or batter_g is None:
        return None
    return Plan(
        edition=edition,
        recipe=recipe,
        recipe_text=text,
        version=version,
        label=label,
        materials=ReadOnly(materials),
        lots=ReadOnly(lots),
        settings=settings,
        size=size,
        oil_mass_g=float(oil_mass_g),
        batter_g=float(batter_g),
        pot=Pot(lines, portions),
        findings=findings,
    )


def _read_kept_recipe(fields: Fields, text: str, slug: str, version: str | None) -> Recipe | None:
    """The recipe whose text is kept, its faults told at the text; it must be the version that is named."""
    recipe, faults = parse_recipe(text, slug)
    fields.findings.extend(
        error(fault.code, f"in the recipe kept here: {fault.what}", fault.do, fields.place("recipe_text"))
        for fault in faults
    )
    if version is not None and blob_id(text.encode("utf-8")) != version:
        what = "the recipe kept here is not the version that is named"
        do = f"{bring_back(fields)}; what differed on the day belongs under as_made in trial.yaml"
        fields.report("plan-altered", what, do, fields.scalar("version"), "version")
    return recipe


def read_frozen_materials(fields: Fields) -> dict[str, Material]:
    """The materials under `materials:`, by name."""
    materials: dict[str, Material] = {}
    for entry in fields.entries("materials", required=True):
        block = fields.as_block(entry.value, f"materials, {entry.key.text}")
        material = None if block is None else read_material_tree(block, entry.key.text)
        if material is not None:
            materials[entry.key.text] = material
    return materials


def _read_lots(fields: Fields, materials: Mapping[str, Material]) -> dict[str, tuple[LotUse, ...]]:
    lots: dict[str, tuple[LotUse, ...]] = {}
    for entry in fields.entries("lots") if fields.has("lots") else ():
        uses = read_lot_uses(fields, entry.key, entry.value)
        known = materials[entry.key.text].lots if entry.key.text in materials else {}
        unknown = [use.lot for use in uses if use.lot not in known]
        for lot in unknown:
            what = f"no values of lot {lot} of {entry.key.text} are kept here"
            fields.report("plan-altered", what, bring_back(fields), entry.value, "lots")
        if uses and not unknown:
            lots[entry.key.text] = uses
    return lots


def exact(number: float) -> Decimal:
    """A calculated number with every digit that it has, so that it reads back as the same number."""
    return Decimal(int(number)) if number == int(number) else Decimal(repr(float(number)))


def _grams(number: float) -> str:
    return f"{exact(number):f} g"


def _line_tree(line: PotLine) -> Inline:
    tree = Inline(material=line.material, role=line.role, at=line.at, weigh=_grams(line.grams))
    if line.portion is not None:
        tree["portion"] = line.portion
    if line.water is not None:
        tree["water"] = line.water
    return tree


def _read_size(fields: Fields) -> tuple[str, str] | None:
    entries = fields.entries("size", required=True)
    if len(entries) != 1:
        fields.report("size-shape", "a size is stated in exactly one way", "write `size: {oils: 1000 g}`", None, "size")
        return None
    text = fields.parse_node(entries[0].value, str, "size")
    return None if text is None else (entries[0].key.text, text)


def _read_lines(fields: Fields) -> tuple[PotLine, ...]:
    lines: list[PotLine] = []
    for block in fields.blocks("pot", required=True, name="material"):
        material = block.slug("material", required=True)
        role = block.choice("role", ROLES, required=True)
        at = block.choice("at", STAGES, required=True)
        grams = block.amount("weigh", "g", Kind.MASS, required=True)
        portion = block.text("portion")
        water = block.choice("water", _WATER_RULES)
        block.finish()
        if material is not None and role is not None and at is not None and grams is not None:
            lines.append(PotLine(material, role, at, float(grams), portion, water))
    return tuple(lines)


def _read_portions(fields: Fields) -> tuple[PotPortion, ...]:
    portions: list[PotPortion] = []
    for block in fields.blocks("portions", name="name"):
        name = block.slug("name", required=True)
        share = block.decimal("fraction", required=True, low=Decimal(0), high=Decimal(1))
        by_eye = block.decimal("by_eye", low=Decimal(0), high=Decimal(1))
        block.finish()
        if name is not None and share is not None:
            portions.append(PotPortion(name, float(share), float(by_eye or 0)))
    return tuple(portions)


def _read_findings(fields: Fields) -> tuple[Finding, ...]:
    findings: list[Finding] = []
    for block in fields.blocks("findings", name="code"):
        severity = block.choice("severity", [severity.value for severity in Severity], required=True)
        code, what = block.text("code", required=True), block.text("what", required=True)
        scalar = block.block.find("do")
        do = block.text("do") if scalar is not None else None
        block.finish()
        if severity is not None and code is not None and what is not None:
            findings.append(Finding(Severity(severity), code, what, do or ""))
    return tuple(findings)
