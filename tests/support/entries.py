"""Entries of an invented unit, made from the words for their kinds."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from usbwatch.model import Step, StepKind
from usbwatch.model.history import (
    Answered,
    Captured,
    Closed,
    Ending,
    Entry,
    Noted,
    Opened,
    Recorded,
    Reopened,
    StepDone,
)

__all__ = ["entries_of"]

_MADE: dict[str, Callable[[int], Recorded]] = {
    "step": lambda _: StepDone(step=Step(kind=StepKind.RESEAT, of="flex")),
    "answer": lambda number: Answered(check=f"check-{number}", yes=bool(number % 2)),
    "capture": lambda number: Captured(capture=f"sha256:{number:064x}"),
    "note": lambda number: Noted(text=f"note {number}"),
    "close": lambda _: Closed(ending=Ending.REPAIRED),
    "reopen": lambda _: Reopened(),
}


def entries_of(kinds: Sequence[str]) -> list[Entry]:
    """The entries of a unit that was opened, with one more of each kind named, a second apart."""
    facts = [Opened(label="LB-0001"), *(_MADE[kind](number) for number, kind in enumerate(kinds, 2))]
    return [
        Entry(
            id=f"{number:032x}",
            unit=32 * "a",
            number=number,
            at=f"2026-03-02T09:00:{number:02d}Z",
            recorded_at=f"2026-03-02T09:00:{number:02d}Z",
            fact=fact,
        )
        for number, fact in enumerate(facts, 1)
    ]
