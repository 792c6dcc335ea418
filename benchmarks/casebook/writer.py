"""One writer, a process of its own: it records, and writes into its own log what the book has acknowledged.

Run by the other modules: ``python -m benchmarks.casebook.writer ADDRESS LOG SECONDS SEED [--unit LABEL] [--patient]``.
A line of the log is written and synced once the call has returned, never before:
microseconds, unit, then ``entry:digest`` for each entry and ``sha256:…`` for each document.
"""

from __future__ import annotations

import argparse
import os
import random
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from benchmarks.casebook.content import capture_paper, moment, templates
from usbwatch.casebook import Book, Paper, When, open_book
from usbwatch.casebook.entries import written
from usbwatch.casebook.packing import digest_text
from usbwatch.errors import BadBook, NoUnit, Refused
from usbwatch.model.history import (
    Amended,
    Answered,
    Attached,
    Captured,
    Closed,
    Ending,
    Entry,
    Grade,
    Noted,
    Opened,
    PartUsed,
    Recorded,
    Reopened,
    StepDone,
    Unit,
)
from usbwatch.model.steps import Step, StepKind

__all__ = ["main"]

_AT_MOST = 12
"""Entries of a unit before the writer takes the next one."""


@dataclass(slots=True, kw_only=True)
class Writer:
    """What one writer knows."""

    book: Book
    log: int
    draw: random.Random
    seed: int
    label: str
    """The one unit that all write to, "" for units of its own."""
    opened: int = 0
    calls: int = 0
    entries: list[Entry] = field(default_factory=list)
    unit: Unit | None = None

    def told(self, line: str) -> None:
        """A line for the log, on the disk when this returns."""
        os.write(self.log, f"{line}\n".encode())
        os.fsync(self.log)

    def once(self) -> None:
        """One call of the book, and its acknowledgement."""
        self.calls += 1
        if self.unit is None or (not self.label and len(self.entries) >= _AT_MOST):
            self._open()
            return
        facts, papers = self._facts(self.unit)
        self._acknowledged(facts, papers)

    def _open(self) -> None:
        self.opened += 1
        if self.label:
            try:
                self.unit = self.book.unit(self.label)
            except NoUnit:
                pass
            else:
                return
        label = self.label or f"LB-{self.seed:04d}-{self.opened:05d}"
        facts, papers = self._capture()
        begun = time.perf_counter()
        try:
            self.unit, entries = self.book.open_unit(Opened(label=label), self._when(), facts, papers)
        except Refused:  # another writer was faster
            return
        self.entries = []
        self._tell(begun, self.unit, entries, papers)

    def _acknowledged(self, facts: Sequence[Recorded], papers: Sequence[Paper]) -> None:
        assert self.unit is not None
        begun = time.perf_counter()
        entries = self.book.record(self.unit, facts, self._when(), papers)
        self._tell(begun, self.unit, entries, papers)

    def _tell(self, begun: float, unit: Unit, entries: Sequence[Entry], papers: Sequence[Paper]) -> None:
        took = int((time.perf_counter() - begun) * 1e6)
        told = [f"{entry.id}:{written(entry).digest.hex()}" for entry in entries]
        self.told(" ".join([str(took), unit.id, *told, *(digest_text(paper.raw_digest) for paper in papers)]))
        self.entries += entries

    def _when(self) -> When:
        return When(now=moment(self.calls), by=f"bench {self.seed}")

    def _capture(self) -> tuple[list[Recorded], list[Paper]]:
        number = self.seed * 10_000 + self.opened
        paper = capture_paper(self.draw.choice(templates()), number, self.calls, self.draw)
        return [Captured(capture=digest_text(paper.raw_digest), taken_at=moment(number))], [paper]

    def _facts(self, unit: Unit) -> tuple[list[Recorded], list[Paper]]:
        """What comes next: mostly captures, steps and answers; now and then several at once."""
        choice = self.draw.random()
        if choice < 0.35:  # noqa: PLR2004 - shares of an invented day
            return self._capture()
        if choice < 0.45:  # noqa: PLR2004
            photo = Paper(kind="file", content=self.draw.randbytes(self.draw.randrange(1, 20_000)))
            name = f"photo {self.calls}.jpg"
            attached = Attached(file=digest_text(photo.raw_digest), name=name, size=len(photo.content))
            return [attached], [photo]
        if choice < 0.55 and self.entries:  # noqa: PLR2004
            return [_amended(self.draw.choice(self.entries), self.calls) or Noted(text="nothing to amend")], []
        if choice < 0.6 and not self.label:  # noqa: PLR2004
            return [Closed(ending=self.draw.choice(list(Ending)), remark=unit.label), Reopened()], []
        serial = f"LG-P{self.seed:03d}{self.calls:06d}-DEMO"
        step = StepDone(
            step=Step(kind=StepKind.SWAP, of="top-case"), part=PartUsed(grade=Grade.USED, serial=serial), minutes=20
        )
        answer = Answered(check="runs-on-battery", yes=self.draw.random() < 0.5)  # noqa: PLR2004
        choices: list[list[Recorded]] = [[step], [answer], [step, answer, Noted(text=f"note {self.calls}")]]
        return self.draw.choice(choices), []


def _amended(entry: Entry, number: int) -> Recorded | None:
    if isinstance(entry.fact, (StepDone, Noted, Answered)):
        instead = Noted(text=f"amended {number}") if isinstance(entry.fact, Noted) else entry.fact
        return Amended(entry=entry.id, reason="misread", instead=instead)
    return None


def _opened(address: str, until: float, *, patient: bool) -> Iterator[Book]:
    """The book; a patient writer waits for a server that comes back."""
    while time.monotonic() < until:
        try:
            yield open_book(address)
        except BadBook:
            if not patient:
                raise
            time.sleep(0.1)


def main() -> None:
    """Write until the time is over."""
    parser = argparse.ArgumentParser()
    parser.add_argument("address")
    parser.add_argument("log")
    parser.add_argument("seconds", type=float)
    parser.add_argument("seed", type=int)
    parser.add_argument("--unit", default="")
    parser.add_argument("--patient", action="store_true")
    asked = parser.parse_args()
    log = os.open(asked.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    templates()
    print("ready", flush=True)
    until = time.monotonic() + asked.seconds
    writer: Writer | None = None
    for book in _opened(asked.address, until, patient=asked.patient):
        if writer is None:
            writer = Writer(book=book, log=log, draw=random.Random(asked.seed), seed=asked.seed, label=asked.unit)
        writer.book = book
        try:
            while time.monotonic() < until:
                writer.once()
        except BadBook as error:
            writer.told(f"! {error}")
            if not asked.patient:
                raise
            writer.unit = None  # what came of the last call is not known
        finally:
            book.close()


if __name__ == "__main__":
    main()
