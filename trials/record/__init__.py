"""What is written into the files of trials: begun, recorded as it happens, brought back as saved.

Here stand the entries of a record, a function each: `bench.record(trials.record.note(trial, "smelled of honey"))`.
Each returns an `Entry`, as `Trial.observe` and `Trial.event` do; it changes nothing by itself. `Bench.record` checks it
against the whole trial and writes it. What a command needs: find the trial, make the entry, record it, show
`Bench.check_trial`.
"""

from __future__ import annotations

from trials.record.after_pour import handle
from trials.record.as_made_sentences import as_made, forgot_to_replace
from trials.record.entries import bars, blending, condition, elapsed_now, lye_in, note, release, temperature
from trials.record.lots import lot, lots_of_sitting
from trials.record.portions import portions_entry

__all__ = [
    "as_made",
    "bars",
    "blending",
    "condition",
    "elapsed_now",
    "forgot_to_replace",
    "handle",
    "lot",
    "lots_of_sitting",
    "lye_in",
    "note",
    "portions_entry",
    "release",
    "temperature",
]
