"""A small invented casebook, as this version of the program writes it.

``PYTHONPATH=tests python -m support.make_casebook`` adds the file of the present schema to
``tests/data/casebooks``; those of earlier schemas were written by the programs of their time and are never made anew.
"""

from __future__ import annotations

from pathlib import Path

from usbwatch.capture.saved import load_saved
from usbwatch.casebook import Book, Paper, When, open_book, paper_of
from usbwatch.casebook.migrations import LATEST
from usbwatch.casebook.packing import digest_text
from usbwatch.model import Step, StepKind
from usbwatch.model.history import (
    Amended,
    Answered,
    Attached,
    Captured,
    Closed,
    Ending,
    Grade,
    Intake,
    Noted,
    Opened,
    PartUsed,
    StepDone,
    Unit,
)

__all__ = ["FOLDER", "LABELS", "fill"]

_ROOT = Path(__file__).parents[2]
FOLDER = _ROOT / "tests" / "data" / "casebooks"
LABELS = ("LB-0001", "LB-0002")


def fill(book: Book) -> None:
    """Two invented units: one that was followed to its end, one that waits."""
    when = When(now="2026-03-02T09:00:00Z", by="bench 1")
    intake = Intake(claims=("keyboard, touchpad and battery dead",), came_with=("adapter",), paid=60, liquid=False)
    unit, _ = book.open_unit(Opened(label=LABELS[0], model="fernhill-larch-13", intake=intake), when)
    _capture(book, unit, "larch-13-top-case-lost", "2026-03-02T09:16:00Z")
    step = StepDone(
        step=Step(kind=StepKind.SWAP, of="top-case"),
        part=PartUsed(grade=Grade.KNOWN_GOOD),
        minutes=60,
        result="keyboard and touchpad are back",
    )
    (entry,) = book.record(unit, [step], When(now="2026-03-02T10:40:00Z"))
    amended = StepDone(step=step.step, part=step.part, minutes=50, result=step.result)
    book.record(unit, [Amended(entry=entry.id, reason="misread", instead=amended)], When(now="2026-03-02T10:41:00Z"))
    _capture(book, unit, "larch-13-after-top-case", "2026-03-02T10:47:00Z")
    book.record(unit, [Answered(check="runs-on-battery", yes=False)], When(now="2026-03-02T10:50:00Z"))
    photo = Paper(kind="file", content=b"an invented photo")
    attached = Attached(file=digest_text(photo.raw_digest), name="board.jpg", size=len(photo.content))
    book.record(unit, [attached], When(now="2026-03-02T10:55:00Z"), [photo])
    book.record(unit, [Closed(ending=Ending.PARTED_OUT, brought=90)], When(now="2026-03-02T12:00:00Z"))
    other, _ = book.open_unit(Opened(label=LABELS[1]), When(now="2026-03-03T08:00:00Z"))
    book.record(other, [Noted(text="waits for its owner")], When(now="2026-03-03T08:01:00Z"))


def _capture(book: Book, unit: Unit, name: str, now: str) -> None:
    saved = load_saved(str(_ROOT / "captures" / f"{name}.json"))
    fact = Captured(capture=saved.digest, taken_at=saved.capture.taken_at)
    book.record(unit, [fact], When(now=now), [paper_of(saved)])


if __name__ == "__main__":
    target = FOLDER / f"schema-{LATEST}.sqlite"
    assert not target.exists(), f"{target} is there; a book of a released schema is never made anew"
    made = open_book(str(target))
    fill(made)
    made.store.do("PRAGMA journal_mode = DELETE")
    made.close()
