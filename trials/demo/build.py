"""Builds the demonstration formulary in a folder, through the same library that a maker's own work goes through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from formulary.folder.folder import Folder
from formulary.folder.starting import EXAMPLE, init_folder
from trials.bench import Bench, open_bench
from trials.demo.generator import PLANTED, Poured, Truth, code_source, draw_conditions, pour
from trials.demo.record import write_day, write_seen
from trials.demo.scenario import (
    BASE,
    FORMULARY_NAME,
    OIL_SIZE,
    STEPS,
    Beginning,
    Branching,
    Look,
    Rework,
    Sitting,
    Step,
    edit_text,
    lots_of,
    read_base_text,
    read_material_texts,
    season_beginning,
    season_date,
    season_moment,
)
from trials.trial.identity import trial_folder

SEED = 2026
INVENTED = (
    "# Invented for the demonstration: no such maker, town or bar exists. All trials here were drawn with a seed.\n"
)
MOULDS = """\
moulds:                                  # the inside: length, width, and the height that it is filled to
  tall-loaf: 25 x 8 x 7 cm
  small-loaf: 20 x 6.5 x 6 cm
"""

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Made:
    """One loaf of the demonstration: its trial's id, when it was poured, and what has still to be looked at."""

    trial_id: str
    made: date
    sitting: Sitting
    number: int
    poured: Poured


@dataclass(frozen=True, slots=True, kw_only=True)
class Demonstration:
    """The demonstration formulary as built: its bench, the seed, what was put in, and the loaves in order."""

    bench: Bench
    seed: int
    truth: Truth
    season: int
    loaves: tuple[Made, ...]

    @property
    def folder(self) -> Folder:
        """The formulary."""
        return self.bench.folder


def build_demonstration(
    root: Path | str,
    *,
    today: date,
    seed: int = SEED,
    truth: Truth = PLANTED,
    progress: Progress | None = None,
) -> Demonstration:
    """A formulary with a year of an invented maker in it, in a new or empty folder.

    today: the season is the latest that was over by then. seed: what is drawn is the same for the same seed.
    truth: what acts on the working time. progress: told what is being done, the step and the number of steps.
    Raises StorageError when the folder holds a formulary already or cannot be written.
    """
    tell = progress if progress is not None else _say_nothing
    season = season_beginning(today)
    tell("a new folder", 0, len(STEPS))
    folder = init_folder(root, name=FORMULARY_NAME, now=season_moment(season, STEPS[0].day, hour=9))
    builder = _Builder(open_bench(folder), seed, truth, season)
    for number, step in enumerate(STEPS):
        tell(f"{season_date(season, step.day):%B %Y}", number + 1, len(STEPS))
        builder.take(step)
    return Demonstration(bench=builder.bench, seed=seed, truth=truth, season=season, loaves=tuple(builder.loaves))


def _say_nothing(what: str, step: int, steps: int) -> None:
    """For a caller who did not ask to be told."""


class _Builder:
    """Takes the scenario's steps one after another."""

    def __init__(self, bench: Bench, seed: int, truth: Truth, season: int) -> None:
        self.bench = bench
        self.folder = bench.folder
        self.seed = seed
        self.truth = truth
        self.season = season
        self.loaves: list[Made] = []
        self._draw_code = code_source(seed)
        self._sittings = 0

    def take(self, step: Step) -> None:
        if isinstance(step, Beginning):
            self._begin(step)
        elif isinstance(step, Branching):
            self._branch(step)
        elif isinstance(step, Rework):
            self._edit(f"recipes/{step.slug}.yaml", step.edits)
            self.folder.save_changed([step.slug], why=step.why, now=self._moment(step))
        elif isinstance(step, Sitting):
            self._sit(step)
        else:
            self._look(step)

    def _moment(self, step: Step, *, hour: int = 19) -> datetime:
        return season_moment(self.season, step.day, hour)

    def _path(self, path: str) -> Path:
        return self.folder.root / path

    def _read(self, path: str) -> str:
        return self.folder.store.read_working(path).decode("utf-8")

    def _write(self, path: str, text: str) -> None:
        """Write a file as an editor would."""
        self._path(path).parent.mkdir(parents=True, exist_ok=True)
        self._path(path).write_bytes(text.encode("utf-8"))

    def _edit(self, path: str, edits: tuple[tuple[str, str], ...]) -> None:
        self._write(path, edit_text(self._read(path), edits))

    def _begin(self, step: Beginning) -> None:
        self._write("formulary.yaml", INVENTED + self._read("formulary.yaml") + MOULDS)
        self._path(f"recipes/{EXAMPLE}.yaml").unlink()
        self._write(f"recipes/{BASE}.yaml", read_base_text())
        for slug, text in read_material_texts(self.season).items():
            self._write(f"materials/{slug}.yaml", text)
        self.folder.refresh()
        self.folder.save_changed(why=step.why, now=self._moment(step))

    def _branch(self, step: Branching) -> None:
        variant = self.folder.branch(step.parent, step.slug, *step.tweaks, name=step.name)
        self._write(f"recipes/{step.slug}.yaml", variant.text + step.appended)
        self.folder.save_changed([step.slug], why=step.why, now=self._moment(step))

    def _sit(self, step: Sitting) -> None:
        conditions = draw_conditions(step.room_c, step.humidity_percent, seed=self.seed, sitting=self._sittings)
        for number, loaf in enumerate(step.loaves):
            version = self.folder.find_version(f"{loaf.recipe}@latest")
            lots = lots_of(version.recipe, loaf)
            trial = self.bench.start(
                version,
                oils=OIL_SIZE,
                lots=lots,
                now=self._moment(step, hour=10 + number),
                draw_code=self._draw_code,
            )
            poured = pour(
                trial.plan, loaf, conditions, self.truth, seed=self.seed, sitting=self._sittings, number=number
            )
            path = f"{trial_folder(trial.id)}/trial.yaml"
            self._write(path, write_day(self._read(path), poured, lots))
            self.loaves.append(Made(trial.id, trial.made, step, number, poured))
        self._sittings += 1
        count = len(step.loaves)
        why = f"the sitting of {trial.made}: {count} {'loaf' if count == 1 else 'loaves'} as poured"
        self.folder.save_changed(why=why, now=self._moment(step, hour=22))

    def _look(self, step: Look) -> None:
        today = season_date(self.season, step.day)
        for index, made in enumerate(self.loaves):
            due = [entry for entry in made.poured.seen if made.made + timedelta(days=entry.age_days) <= today]
            if not due:
                continue
            path = f"{trial_folder(made.trial_id)}/trial.yaml"
            self._write(path, write_seen(self._read(path), due))
            left = tuple(entry for entry in made.poured.seen if entry not in due)
            self.loaves[index] = replace(made, poured=replace(made.poured, seen=left))
        self.folder.save_changed(why=step.why, now=self._moment(step))
