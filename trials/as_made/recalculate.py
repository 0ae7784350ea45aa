"""A trial's figures by today's register beside those of its frozen plan: asked for, shown, and never kept by itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from formulary.batch.checks import check_pot
from formulary.batch.model import PotFigures
from formulary.batch.weigh_out_text import render_findings
from formulary.finding import Finding
from formulary.materials.model import Material, ValueRange
from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from formulary.read_only import ReadOnly
from formulary.shown_as_text import ShownAsText
from formulary.text_table import Row, paragraph, render_rows
from trials.as_made.effective import figures_of_bars
from trials.as_made.lots_used import kept_materials, materials_of
from trials.as_made.pot_as_made import pot_of_bars
from trials.trial.identity import code_of
from trials.trial.model import Trial

# The values of a material that the figures of a pot follow from, and what people call them.
VALUES: Mapping[str, str] = ReadOnly(
    {
        "kind": "kind",
        "group": "group",
        "alkali": "hydroxide",
        "saponification_value": "saponification value",
        "acid_value": "acid value",
        "assay_percent": "assay, %",
        "water_percent": "water, %",
        "fat_percent": "fat, %",
        "fat_saponification_value": "saponification value of its fat",
        "sugars_percent": "sugars, %",
        "acids": "acids, %",
        "limit": "limit, % of product",
        "contains": "constituents, %",
        "limits": "limits of constituents, %",
        "fatty_acids": "fatty acids",
    }
)
_LIMITS = ("scent-limit", "constituent-limit")
_TOO_LITTLE_FAT = ("lye-excess", "superfat-low", "superfat-band")
_LYE = (*_TOO_LITTLE_FAT, "superfat-high", "saponification-unknown")


@dataclass(frozen=True, slots=True)
class ValueChange:
    """A value of a material that is another one today: as it was frozen, and as it is, in words."""

    material: str
    value: str
    before: str
    after: str

    def to_json(self) -> dict[str, object]:
        return {"material": self.material, "value": self.value, "before": self.before, "after": self.after}


@dataclass(frozen=True, slots=True, repr=False)
class Recalculation(ShownAsText):
    """What the same grams amount to by the frozen values and by today's; `gone`: materials no longer registered.

    appeared, vanished: what the checks find of the same pot by today's values only, and by the frozen ones only. A
    limit that came later, or fell, is told so: the bars do not know when it was published.
    """

    trial: Trial
    before: PotFigures
    after: PotFigures
    changes: tuple[ValueChange, ...]
    gone: tuple[str, ...] = ()
    appeared: tuple[Finding, ...] = ()
    vanished: tuple[Finding, ...] = ()

    @property
    def rows(self) -> tuple[tuple[str, float, float], ...]:
        """The figures that may differ: what, before, after."""
        one, two = self.before, self.after
        return (
            ("effective superfat, %", one.superfat_effective, two.superfat_effective),
            ("superfat at least, %", one.superfat_low, two.superfat_low),
            ("superfat at most, %", one.superfat_high, two.superfat_high),
            ("pure alkali, g", one.pure_alkali_g, two.pure_alkali_g),
            ("all water, g", one.water_total_g, two.water_total_g),
            ("lye in the jug, %", one.in_jug_percent, two.in_jug_percent),
            ("lye with all water, %", one.effective_percent, two.effective_percent),
        )

    def __str__(self) -> str:
        return render_recalculation(self)

    def to_json(self) -> dict[str, object]:
        return {
            "trial": self.trial.id,
            "figures": [{"figure": name, "before": before, "after": after} for name, before, after in self.rows],
            "register": [change.to_json() for change in self.changes],
            "gone": list(self.gone),
            "findings": {
                "appeared": [finding.to_json() for finding in self.appeared],
                "vanished": [finding.to_json() for finding in self.vanished],
            },
        }


def recalculate(trial: Trial, register: Mapping[str, Material]) -> Recalculation:
    """The trial's pot, as it was really made, worked out again with the values that the register has today.

    Nothing is written: the trial keeps its frozen numbers. A material, or a lot, that is no longer registered keeps its
    own.
    """
    gone = tuple(sorted(name for name in trial.materials if name not in register))
    return replace(_compare(trial, as_of_today(trial, register)), gone=gone)


def _compare(trial: Trial, by_today: Trial) -> Recalculation:
    """The figures of a trial beside those by today's values."""
    frozen, today = materials_of(trial), materials_of(by_today)
    pot = pot_of_bars(trial, at_worst=True)
    used = sorted({line.material for line in pot.lines})
    purpose, step_g = trial.plan.recipe.purpose, float(trial.plan.settings.alkali_step_g)
    before, after = (figures_of_bars(trial, materials) for materials in (frozen, today))
    found_before = check_pot(pot, before, frozen, purpose, alkali_step_g=step_g)
    found_after = check_pot(pot, after, today, purpose, alkali_step_g=step_g)
    return Recalculation(
        trial,
        before,
        after,
        tuple(change for name in used for change in find_value_changes(name, frozen[name], today[name])),
        appeared=_only_in(found_after, found_before),
        vanished=_only_in(found_before, found_after),
    )


def find_later_limits(trial: Trial, by_today: Trial | None) -> tuple[Finding, ...]:
    """Limits of scent that the bars pass by today's register and did not by their frozen plan (`find_by_today`)."""
    return _by_today(_LIMITS, _appeared(trial, by_today))


def find_later_lye(trial: Trial, register: Mapping[str, Material]) -> tuple[Finding, ...]:
    """What today's register says against the loaf's lye and its frozen values do not.

    A certificate that was copied, or a slip in one that was mended, after the loaf was poured is heard of here.
    """
    found = _by_today(_LYE, _appeared(trial, find_by_today(trial, register)))
    do = f"see which value is another one: formulary trial recalculate {code_of(trial.id)}; if the loaf was made from"
    do += " another delivery, register that as a lot and name it (`formulary trial lot`)"
    return tuple(replace(finding, do=f"{do}; {finding.do}") for finding in found)


def _by_today(codes: Sequence[str], found: Sequence[Finding]) -> tuple[Finding, ...]:
    return tuple(
        replace(finding, what=f"by today's register, {finding.what}") for finding in found if finding.code in codes
    )


def _appeared(trial: Trial, by_today: Trial | None) -> tuple[Finding, ...]:
    """What is found by today's values alone, but of the lye only where they make it worse."""
    if by_today is None:
        return ()
    found = _compare(trial, by_today)
    if _is_worse(found.before, found.after):
        return found.appeared
    return tuple(finding for finding in found.appeared if finding.code not in _TOO_LITTLE_FAT)


def _is_worse(before: PotFigures, after: PotFigures) -> bool:
    """Whether all of the bars, or those of a portion, have less superfat after than before, or may have."""
    one, two = (
        [
            figures.superfat_effective,
            figures.superfat_low,
            *(low for part in figures.portions for low in (part.superfat_percent, part.superfat_low_percent)),
        ]
        for figures in (before, after)
    )
    return any(
        figure is not None and other is not None and other < figure for figure, other in zip(one, two, strict=True)
    )


def find_by_today(trial: Trial, register: Mapping[str, Material]) -> Trial | None:
    """The trial as if all had been kept today; None where that has no other value that figures follow from."""
    by_today = as_of_today(trial, register)
    frozen, today = materials_of(trial), materials_of(by_today)
    return by_today if any(find_value_changes(name, frozen[name], today[name]) for name in today) else None


def as_of_today(trial: Trial, register: Mapping[str, Material]) -> Trial:
    """The trial as if its materials, and their lots, had been kept today.

    A material that is no longer registered keeps what is frozen of it, and so does a lot.
    """
    kept = kept_materials(trial)
    today = {
        name: replace(register[name], lots={**kept[name].lots, **register[name].lots})
        if name in register
        else kept[name]
        for name in kept
    }
    planned = ReadOnly({name: today[name] for name in trial.plan.materials})
    return replace(
        trial,
        plan=replace(trial.plan, materials=planned),
        added=ReadOnly({name: today[name] for name in trial.added}),
        lot_values=ReadOnly({}),
    )


def _only_in(these: Sequence[Finding], others: Sequence[Finding]) -> tuple[Finding, ...]:
    told = {(finding.code, finding.what) for finding in others}
    return tuple(finding for finding in these if (finding.code, finding.what) not in told)


def find_value_changes(name: str, before: Material, after: Material) -> list[ValueChange]:
    """The values of a material that figures follow from, and that are others after than before."""
    found: list[ValueChange] = []
    for attribute, label in VALUES.items():
        one, two = getattr(before, attribute), getattr(after, attribute)
        if _comparable(one) != _comparable(two):
            found.append(ValueChange(name, label, _said(one), _said(two)))
    return found


def _comparable(value: object) -> object:
    """A value without where it is from: another source of the same number changes no figure."""
    if isinstance(value, ValueRange):
        return value.low, value.high, value.working
    if hasattr(value, "percent_of_product"):
        return value.percent_of_product
    return dict(value) if isinstance(value, Mapping) else value


def _said(value: object) -> str:
    if value is None or value == {}:
        return "not known"
    if isinstance(value, Enum):
        return material_words(str(value.value))
    if isinstance(value, ValueRange):
        return f"{value.working:g} ({value.low:g} to {value.high:g})"
    if hasattr(value, "percent_of_product"):
        return f"{value.percent_of_product:g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {percent:g}" for name, percent in value.items())
    return f"{value:g}" if isinstance(value, float) else str(value)


def render_recalculation(found: Recalculation, *, width: int = 80) -> str:
    """The difference as text: one sentence, the figures that moved, and the values that moved them."""
    moved = [row for row in found.rows if f"{row[1]:.2f}" != f"{row[2]:.2f}"]
    lines: list[str] = []
    if not found.changes:
        lines += paragraph(f"Today's register has the same values as the plan of {found.trial.id}.", width=width)
    elif not moved:
        lines += paragraph("Today's register has other values, but no figure of the lye moves by them.", width=width)
    else:
        one, two = found.before.superfat_effective, found.after.superfat_effective
        said = (
            f"By today's register the effective superfat is {format_number(two, 1)} % instead of"
            f" {format_number(one, 1)} %. The trial keeps its own numbers."
        )
        lines += paragraph(said, width=width)
        rows = [Row("", ("frozen", "today"))]
        rows += [Row(name, (format_number(a, 2), format_number(b, 2))) for name, a, b in moved]
        lines += ["", *render_rows(rows, width=width)]
    if found.appeared:
        lines += ["", *paragraph("By today's values, and not by the frozen ones:", width=width)]
        lines += [*render_findings(found.appeared, width=width), ""]
    if found.vanished:
        what = "; ".join(finding.what for finding in found.vanished)
        lines += [*paragraph(f"By today's values no longer: {what}", width=width), ""]
    for change in found.changes:
        text = f"{material_words(change.material)}, {change.value}: {change.before}, today {change.after}"
        lines += paragraph(text, width=width, indent=2)
    for name in found.gone:
        lines += paragraph(
            f"{material_words(name)} is no longer registered; its frozen values are used", width=width, indent=2
        )
    return "\n".join(lines)
