"""The bench of a formulary: its trials, and everything that is done with them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal

from formulary.errors import InputError
from formulary.finding import Finding, stops
from formulary.given import Day, as_day, as_moment, day_or_today, each_of
from formulary.recipes.version import Version, recipe_named
from trials.as_made.unknown_weights import demand_known_weights
from trials.checks.checks import check_trial
from trials.checks.sale import check_sale, fit_to_sell
from trials.files.named_trial import demand_named
from trials.files.trial_files import TrialFiles
from trials.trial.entry import Entry
from trials.trial.identity import random_code
from trials.trial.model import Trial
from trials.trial.on_day import as_done, as_it_stood

if TYPE_CHECKING:
    from pathlib import Path

    from formulary.batch.cost import Cost
    from formulary.batch.ingredients import IngredientList
    from formulary.batch.model import Batch
    from formulary.batch.sitting_model import Sitting
    from formulary.changes.changes import Changes
    from formulary.data_table import Table
    from formulary.folder.folder import Folder
    from formulary.given import Figure
    from formulary.materials.chosen_lots import ChosenLots
    from trials.as_made.recalculate import Recalculation
    from trials.charts.cure import Cure
    from trials.charts.story import Story
    from trials.charts.trace import Trace
    from trials.comparison.comparison import Comparison
    from trials.due.due import Due
    from trials.due.ready import ReadyBy
    from trials.explanation import Explanation
    from trials.lots.lot_trace import LotUsed
    from trials.lots.lot_uses import LotUses
    from trials.next_trial.next_trial import NextTrial
    from trials.pages.report import Report
    from trials.pages.sheet import Sheet
    from trials.pours.ranking import Ranking
    from trials.record.after_entry import AfterEntry
    from trials.record.starting import Loaf


def open_bench(folder: Folder | Path | str) -> Bench:
    """The bench of an open formulary, or of the one in a folder.

    Raises InputError when the folder holds no formulary, StorageError when it is not under git or not readable.
    """
    from formulary.folder.folder import Folder, open_folder

    return Bench(folder if isinstance(folder, Folder) else open_folder(folder))


class Bench(TrialFiles):
    """The trials of one formulary, to start, record, check, compare and explain."""

    def __repr__(self) -> str:
        return f"<Bench of {self.folder.root}>"

    # -- starting --------------------------------------------------------------------------------

    def start(
        self,
        version: Version | str,
        *,
        oils: str | None = None,
        total: str | None = None,
        mould: str | None = None,
        bars: int | None = None,
        bar: str | None = None,
        cured: bool = False,
        sitting: str | None = None,
        lots: ChosenLots | None = None,
        conditions: Mapping[str, str] | None = None,
        portions: Mapping[str, Figure] | Sequence[tuple[str, Figure]] | None = None,
        who: str | None = None,
        made: Day | None = None,
        despite: str | Iterable[str] = (),
        now: datetime | None = None,
        draw_code: Callable[[], str] = random_code,
    ) -> Trial:
        """Start a trial: the frozen plan and a file to fill in, saved in one commit (with the recipe if it is unsaved).

        version: a version, or how a person names one. oils, total, mould, or bars with bar and cured: the size, as in
        `Folder.batch`.
        sitting: the name of the sitting, the date unless given; conditions and lots that another trial of it has are
        taken over. lots: material -> lot, or lot -> grams of several, None for the one that is the rest. conditions:
        key -> text, such as room -> "19 °C". portions: name -> percent, for a plan without portions. made: the day it
        was made, which its id tells; today unless given. despite: codes of stops that are overridden knowingly. now:
        the present time, with its time zone. draw_code: for the four characters of the id.
        Raises StopError when the batch has a stop, InputError for what cannot be read as meant.
        """
        from formulary.batch.size import Size
        from trials.record.starting import Loaf, start_trials

        found = version if isinstance(version, Version) else self.folder.find_version(version)
        (started,) = start_trials(
            self,
            [Loaf(found, Size(oils=oils, total=total, mould=mould, bars=bars, bar=bar, cured=cured))],
            sitting=sitting,
            lots=lots or {},
            conditions=conditions or {},
            portions=portions,
            who=who,
            made=made,
            despite=each_of(despite),
            now=now,
            draw_code=draw_code,
        )
        return started.trial

    def start_sitting(
        self,
        loaves: Iterable[Loaf],
        *,
        sitting: str | None = None,
        lots: ChosenLots | None = None,
        conditions: Mapping[str, str] | None = None,
        who: str | None = None,
        made: Day | None = None,
        despite: str | Iterable[str] = (),
        now: datetime | None = None,
        draw_code: Callable[[], str] = random_code,
    ) -> tuple[Trial, ...]:
        """Start a trial of each loaf that is poured in one sitting, all or none, in one commit.

        loaves: each a saved or unsaved version, its size and its own mould. lots: each counts in every loaf that holds
        its material, and the grams of several are for all of them. conditions: of the sitting, the same for all. The
        rest as for `start`.
        Raises StopError when a batch has a stop, or all of them together have; InputError as `start` does.
        """
        from trials.record.starting import start_trials

        started = start_trials(
            self,
            tuple(loaves),
            sitting=sitting,
            lots=lots or {},
            conditions=conditions or {},
            who=who,
            made=made,
            despite=each_of(despite),
            now=now,
            draw_code=draw_code,
        )
        return tuple(each.trial for each in started)

    def due(self, today: Day, *, days_ahead: int = 14, among: Iterable[Trial] | None = None) -> tuple[Due, ...]:
        """What should be looked at now and next, late ones first, by the maker's own follow-up plan.

        among: the formulary's trials where they are read already, as `trials` gives them.
        """
        from trials.due.due import find_due, read_follow_up

        plan, _ = read_follow_up(self.folder.settings, self.outcomes)
        trials = self.trials() if among is None else among
        return find_due(trials, as_day(today), plan, self.outcomes, days_ahead=days_ahead)

    def ready_by(
        self,
        on: Day,
        version: Version | str,
        today: Day,
        *,
        bars: int,
        bars_per_loaf: int | None = None,
        bar: str | None = None,
    ) -> ReadyBy:
        """The last day to pour for bars to be sold on a date, and the loaves: as many bars each as past loaves gave.

        bars, bars_per_loaf: 1 or more. bar: what one is to weigh after the cure, "100 g", for the oils that they take.
        Raises InputError for a day or a number that is none.
        """
        from trials.due.ready import plan_ready_by, usual_bars_per_loaf
        from trials.files.within import names_today

        found = version if isinstance(version, Version) else self.folder.find_version(version)
        if bars_per_loaf is None:
            bars_per_loaf = usual_bars_per_loaf(past := self.trials(), found.slug, names_today(past, self.folder))
        sold, day, settings = as_day(on), as_day(today), self.folder.settings
        ready = plan_ready_by(sold, found.recipe, settings, day, bars=bars, bars_per_loaf=bars_per_loaf)
        batch = None if bar is None else self.folder.batch(found, bars=ready.bars_to_pour, bar=bar, cured=True)
        return ready if batch is None else replace(ready, oil_mass_g=batch.oil_mass_g)

    def find_lot(self, lot: str, *, material: str | None = None) -> tuple[LotUsed, ...]:
        """Every batch that a lot went into, by date. Raises InputError, with the nearest, for a lot that none has."""
        from trials.lots.lot_trace import demand_lot

        return demand_lot(self.trials(), lot, material=material)

    def find_lot_uses(self, lot: str) -> LotUses:
        """Every batch that a lot went into, and every recipe whose lye its certificate would change.

        Raises InputError, with the nearest, when neither a material nor a trial knows a lot of that number.
        """
        from trials.lots.lot_uses import find_lot_uses

        return find_lot_uses(self, lot)

    def find_unsafe_loaves(self, material: str, lot: str) -> tuple[Finding, ...]:
        """The stops against trials that name a lot of a material, by its certificate as it is registered now.

        Free alkali that a test found is no matter of the certificate, and not among them.
        """
        ids = self.ids_that_name(lot)
        found = [trial for each in ids if (trial := self.read_trial(each)[0]) is not None]
        uses = [trial for trial in found if any(use.lot == lot for use in trial.lots.get(material, ()))]
        told = (finding for trial in uses for finding in stops(self.check_trial(trial)))
        return tuple(finding for finding in told if finding.code != "free-alkali")

    def table(self, within: str | Iterable[str] = (), *, by: Literal["portion", "trial"] = "portion") -> Table:
        """One row a portion (or a trial) with every fact and outcome; `formulary.save_table` writes it."""
        from trials.table import make_table

        return make_table(self.trials(within), self.outcomes, by=by)

    def recalculate(self, trial: Trial | str) -> Recalculation:
        """A trial's figures by today's register beside its frozen ones; nothing is written.

        Raises InputError while the file of one of its materials cannot be read.
        """
        from trials.as_made.recalculate import recalculate

        found = self._named_trial(trial)
        self.demand_readable_materials(found)
        demand_known_weights([found], as_bars=True)
        return recalculate(as_it_stood(found, date.today()), self.folder.register)

    def cost(self, trial: Trial | str) -> Cost:
        """What a trial's materials cost, by what was really weighed and the prices of its lots."""
        from formulary.batch.shown import ShownCost
        from trials.as_made.cost import cost_of_trial

        found = as_it_stood(self._named_trial(trial), date.today())
        return ShownCost.of(cost_of_trial(found, self.folder.register, currency=self.folder.settings.currency))

    def ingredients(self, trial: Trial | str, *, portion: str | None = None) -> IngredientList:
        """The ingredient lists of a trial's bars as they were made, of each portion or of one alone, and its stops.

        Raises InputError while the file of one of its materials cannot be read.
        """
        from formulary.batch.shown import ShownIngredients
        from trials.as_made.ingredients import ingredients_of_trial

        found = self._named_trial(trial)
        self.demand_readable_materials(found)
        lists = ingredients_of_trial(as_it_stood(found, date.today()), self.folder.register, portion)
        return ShownIngredients.of(replace(lists, findings=(*stops(self.check_trial(found)), *lists.findings)))

    def render_trial(self, trial: Trial | str, *, show_all: bool = False, width: int = 80) -> str:
        """A trial as text: what was planned, what was really in the pot, what happened, what was observed.

        show_all: the weights that went as planned, too. width: columns, 50 or more.
        """
        from trials.trial_text import render_trial

        found, today = self._named_trial(trial), date.today()
        return render_trial(
            found,
            self.check_trial(found, today),
            self.outcomes,
            width=width,
            show_all=show_all,
            register=self.folder.register,
            today=today,
        )

    def render_due(self, today: Day | None = None, *, days_ahead: int = 14, width: int = 80) -> str:
        """What should be looked at now and next as text, before it what has come up against a loaf that was sold.

        today: the present day unless given.
        """
        from trials.due.text import render_due

        day, trials = day_or_today(today), self.trials()
        due = self.due(day, days_ahead=days_ahead, among=trials)
        return render_due(due, day, width=width, unfit=self.find_unfit_sales(trials, day))

    def fit_to_sell(self, trial: Trial | str, today: Day | None = None) -> tuple[Finding, ...]:
        """What still stands between a trial and being sold; empty when nothing does.

        today: the age of the cure is that of this day, and what is recorded of a later one counts for nothing; the
        present day unless given. The worse of the frozen values and of today's register counts.
        """
        return fit_to_sell(self._named_trial(trial), day_or_today(today), register=self.folder.register)

    def find_unfit_sales(self, trials: Iterable[Trial], today: Day | None = None) -> dict[str, tuple[Finding, ...]]:
        """Trial id -> what has come up against it since it was recorded as sold; only of those where something has."""
        day = day_or_today(today)
        found = {trial.id: check_sale(trial, day, register=self.folder.register) for trial in trials}
        return {trial_id: findings for trial_id, findings in found.items() if findings}

    def sheet(
        self, weigh_out: Trial | str | Batch | Sitting, *, on: Day | None = None, who: str | None = None
    ) -> Sheet:
        """A sheet for the bench, to print and to write on; `save("sheet.html")` writes it.

        weigh_out: a trial, or how a person names one, whose frozen plan is what to weigh; or a batch or a sitting from
        the folder. on, who: the day and the maker of a batch or a sitting; today, and a line to fill in, unless given.
        Raises StopError while a stop stands: there is no sheet with weights then.
        """
        from trials.outcomes.known import own_event_words
        from trials.pages.sheet import make_sheet
        from trials.pages.trial_sheet import make_trial_sheet

        own_events = own_event_words(self.folder.settings)
        found = self.find_trial(weigh_out) if isinstance(weigh_out, str) else weigh_out
        if isinstance(found, Trial):
            return make_trial_sheet(found, self.check_trial(found), own_events=own_events)
        return make_sheet(found, on=day_or_today(on), who=who, own_events=own_events)

    # -- recording -------------------------------------------------------------------------------

    def record(self, *entries: Entry | Iterable[Entry], now: datetime | None = None) -> Trial:
        """Write entries into their trial's file and save it; returns the trial as it then is (the last one's).

        entries: from `trial.observe`, `trial.event` and the functions of `trials.record`, some of which return several.
        Raises InputError, with nothing written, when the file with the entries could not be read as meant.
        """
        flat = (each for given in entries for each in (given if isinstance(given, Iterable) else [given]))
        return self.record_all(flat, now=now)[-1]

    def record_all(self, entries: Iterable[Entry], *, now: datetime | None = None) -> tuple[Trial, ...]:
        """Write entries of one or several trials, all or nothing, in one commit; returns these trials."""
        from trials.record.recording import record_entries

        return record_entries(self, entries, as_moment(now))

    def is_hand_written(self, trial: Trial | str) -> bool:
        """Whether its file says something that was not saved yet; `record` saves that first, by itself."""
        from trials.record.recording import is_hand_written

        return is_hand_written(self, self._named_trial(trial).id)

    def after_entry(self, before: Trial, recorded: Trial, today: Day | None = None) -> AfterEntry:
        """What an entry brought to light, and the stops that stand after it, `is_stopped` where one does.

        before: the trial without the entry; `as_kept` of it, where an entry may keep what is registered of a lot.
        """
        from trials.record.after_entry import find_after_entry

        return find_after_entry(before, recorded, self.outcomes, day_or_today(today), register=self.folder.register)

    def restore(self, trial: Trial | str, *, discard: bool = False) -> tuple[str, ...]:
        """Put the record and the plan of a trial back as they were saved; returns the paths that were written.

        Raises InputError when there is no such trial, or nothing differs; ChangedError for unsaved changes, unless
        `discard`.
        """
        from trials.record.returning import restore_trial

        return restore_trial(self, trial.id if isinstance(trial, Trial) else trial, discard=discard)

    def record_sitting(
        self, trial: Trial | str, make: Callable[[Trial], Entry], *, now: datetime | None = None
    ) -> tuple[Trial, ...]:
        """Record what was the same for every trial of a sitting, such as the room or the lye, in one commit.

        make: the entry for one trial, `lambda each: record.condition(each, "room", "19 °C")`.
        """
        return self.record_all([make(each) for each in self.together_with(self._named_trial(trial))], now=now)

    # -- comparing -------------------------------------------------------------------------------

    def compare(self, *trials: Trial | str, each: bool = False) -> Comparison:
        """What differed between trials and what each did, beside the noise of the formulary's repeats.

        trials: trials, or how a person names them; `k7wq:plain` is one portion of a divided one. each: show pours that
        repeat one another by themselves, too, which are put together otherwise where there are others beside them.
        Raises InputError for a name that fits none or several, and for a portion that there is not.
        """
        from trials.comparison.compare import compare_trials
        from trials.files.named_portions import find_named_portions

        named, portions = find_named_portions(self, demand_named(trials))
        compared = compare_trials(
            named,
            self.trials(),
            self.outcomes,
            portions=portions,
            each=each,
            register=self.folder.register,
            today=date.today(),
        )
        return replace(compared, unread=self.unread)

    def rank(self, outcome: str, within: str | Iterable[str] = ()) -> Ranking:
        """The pours in the order of an outcome, the best first, with those that cannot be told from the best.

        outcome: as for `explain`. within: recipes; only trials of these and of their variants are ranked, while the
        others still tell how much repeats differ. Raises InputError for an outcome or a recipe that is not there.
        """
        from trials.files.within import find_within, names_today
        from trials.outcomes.known import find_outcome
        from trials.pours.ranking import find_ranking

        found, age_days = find_outcome(outcome, self.outcomes)
        names, everyone = each_of(within), self._trials_as_done()
        wanted = find_within(everyone, names, self.folder) if names else everyone
        return find_ranking(wanted, found, age_days, among=everyone, called=names_today(everyone, self.folder))

    def explain(
        self,
        outcome: str,
        *,
        within: str | Iterable[str] = (),
        trial: Trial | str | None = None,
        with_next: bool = True,
    ) -> Explanation:
        """Which of the things that varied did it, how sure one can be, and what cannot be told apart.

        outcome: as a person asks for it, "working time" or "hardness at 28 d". within: recipes; only trials of these
        and of their variants are weighed, while the others still tell how much repeats differ. trial: one of them, of
        which is told first what moved it against the pour that it came from. with_next: whether it is told, too, what
        to pour next, for which every pour that could be made is worked out, as `next_trials` does.
        Raises InputError for an outcome, a recipe or a trial that is not there.
        """
        from trials.explain_trials import explain_outcome
        from trials.files.within import find_within, names_today
        from trials.outcomes.known import find_outcome
        from trials.telling_apart import with_next_pour

        found, age_days = find_outcome(outcome, self.outcomes)
        asked = None if trial is None else as_done(self._named_trial(trial), date.today())
        names, everyone = each_of(within), self._trials_as_done()
        wanted = find_within(everyone, names, self.folder) if names else everyone
        unreadable = sorted(set(self.trial_ids()) - {one.id for one in everyone})
        called = names_today(everyone, self.folder)
        answer = explain_outcome(
            wanted, found, age_days, among=everyone, about=asked, unreadable=unreadable, called=called
        )
        if not with_next:
            return answer
        register, settings = self.folder.register, self.folder.settings
        return with_next_pour(answer, register, settings, names=called, saves=self._saves, poured=everyone)

    def _trials_as_done(self) -> tuple[Trial, ...]:
        """All trials without what is recorded as done on a day to come: what they are compared by."""
        return tuple(as_done(trial, date.today()) for trial in self.trials())

    def next_trials(self, answer: Explanation | str, *, most: int = 3) -> tuple[NextTrial, ...]:
        """Up to `most` trials that would tell most about what did it, each a small and safe change of a version poured.

        answer: from `explain`, or the outcome that it is asked for. Empty where no pour would tell more.
        """
        from trials.files.within import names_today
        from trials.next_trial.next_trial import find_next_trials

        told = self.explain(answer, with_next=False) if isinstance(answer, str) else answer
        names = names_today(told.trials, self.folder)
        return find_next_trials(
            told,
            self.folder.register,
            self.folder.settings,
            most=most,
            names=names,
            saves=self._saves,
            poured=self._trials_as_done(),
        )

    def _saves(self, recipe: str) -> tuple[Version, ...]:
        """The saves of a recipe that can be read, the newest first; none of one that is gone."""
        if recipe not in self.folder.recipes():
            return ()
        return tuple(save.version for save in reversed(self.folder.history(recipe)) if save.version is not None)

    def next_trial(self, answer: Explanation | str) -> NextTrial:
        """The trial that would tell most; `branch(NAME)` makes its recipe. Raises InputError when there is none."""
        from trials.next_trial.next_trial import first_proposed

        told = self.explain(answer, with_next=False) if isinstance(answer, str) else answer
        return first_proposed(self.next_trials(told, most=1), told)

    def story(self, recipe: Version | str, outcome: str = "working time") -> Story:
        """A recipe and its variants along time with an outcome of every trial; `draw()` makes the chart.

        Raises InputError for a recipe or an outcome that is not there.
        """
        from trials.charts.story import find_story
        from trials.explain_trials import explain_outcome
        from trials.files.within import find_within, names_today
        from trials.outcomes.known import find_outcome

        found, age_days = find_outcome(outcome, self.outcomes)
        everyone = self._trials_as_done()
        name = recipe_named(recipe)
        told = find_within(everyone, [name], self.folder)
        answer = explain_outcome(told, found, age_days, among=everyone)
        names = names_today(told, self.folder)
        return find_story(told, found, age_days, title=name, explanation=answer, names=names)

    def report(
        self,
        *recipes: Version | str,
        outcomes: str | Iterable[str] = (),
        on: Day | None = None,
        tell: Callable[[str, int, int], None] | None = None,
    ) -> Report:
        """The story of recipes and their variants as one HTML file: `report("harbour-base").save("harbour.html")`.

        It holds every save with what changed, every trial with what was made otherwise, and what `explain` says.
        outcomes: as for `explain`; these are told and drawn, each with the pour that would tell most next. Without any
        all that were observed are told, and the first is drawn. on: the day that it tells of; today unless given.
        tell: is told which step is being done, as (what, step, of how many).
        Raises InputError for no recipe, and for a recipe or an outcome that is not there.
        """
        from trials.outcomes.known import find_outcome
        from trials.pages.report import make_report

        if not recipes:
            raise InputError.of("none-named", "a report is of one recipe or more", "name them")
        names = [recipe_named(recipe) for recipe in recipes]
        asked = [find_outcome(outcome, self.outcomes) for outcome in each_of(outcomes)]
        return make_report(
            self,
            names,
            on=day_or_today(on),
            asked=asked,
            explain=lambda label: self.explain(label, within=names, with_next=bool(asked)),
            check=self.check_trial,
            tell=tell or (lambda _doing, _step, _of: None),
        )

    def cure(self, *trials: Trial | str) -> Cure:
        """Mass loss and hardness of trials at the ages they were measured; `draw()` makes the chart.

        trials: trials, or how a person names them. Raises InputError for a name that fits none or several.
        """
        from trials.charts.cure import find_cure

        return find_cure(self._named(trials), self.outcomes)

    def trace(self, *trials: Trial | str) -> Trace:
        """How the batter of every portion of trials thickened over minutes; `draw()` makes the chart.

        trials: trials, or how a person names them. Raises InputError for a name that fits none or several.
        """
        from trials.charts.trace import find_trace

        return find_trace(self._named(trials))

    def _named(self, trials: Iterable[Trial | str]) -> list[Trial]:
        return [self._named_trial(trial) for trial in demand_named(trials)]

    def _named_trial(self, trial: Trial | str) -> Trial:
        return trial if isinstance(trial, Trial) else self.find_trial(trial)

    def diff(self, before: Trial | Version | str, after: Trial | Version | str, *, oils: str = "1000 g") -> Changes:
        """What changed between two versions, trials or portions of these for the same mass of oils, "1000 g".

        before, after: a trial or a version, or how a person names one: `first-bar`, `first-bar@latest`, a recipe's
        file, `k7wq`; with `:plain` behind it one portion. A trial is compared as it was really made.
        Raises InputError when a side is neither, or cannot be read.
        """
        from trials.diff import diff_sides

        return diff_sides(self, before, after, oils=oils)

    # -- checking --------------------------------------------------------------------------------

    def check_trial(self, trial: Trial | str, today: Day | None = None) -> tuple[Finding, ...]:
        """What makes the trial as made unsafe or unfit to sell, and what in its record does not add up.

        today: what was observed later than this is told; the present day unless given. What today's register says
        against the lye, and the frozen values do not, is told, too.
        """
        return check_trial(self._named_trial(trial), self.outcomes, day_or_today(today), register=self.folder.register)

    def find_stops(self, paths: Iterable[str]) -> tuple[Finding, ...]:
        """The stops that stand against the trials that some files belong to, as `check` tells them."""
        from trials.files.file_checks import trial_ids_of

        read = (self.read_trial(each)[0] for each in trial_ids_of(self, paths))
        return tuple(finding for trial in read if trial is not None for finding in stops(self.check_trial(trial)))

    def check_files(self, paths: Iterable[str]) -> tuple[Finding, ...]:
        """What cannot be read as meant in the trials that some files belong to; a trial removed whole is no fault."""
        from trials.files.file_checks import check_paths

        return check_paths(self, paths)

    def check(self, today: Day | None = None) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in the trials' files and in the definitions of outcomes.

        today: what was observed later than this is told; the present day unless given.
        While `formulary.yaml` cannot be read the trials are not looked at: which outcomes there are stands in it.
        """
        from trials.files.file_checks import check_all

        return check_all(self, day_or_today(today))
