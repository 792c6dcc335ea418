"""A unit's entries as they now stand, and what they come to. Functions from values to values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from usbwatch.casebook.bounds import is_model
from usbwatch.model.findings import Answer, with_answer
from usbwatch.model.history import (
    Amended,
    Answered,
    Baselined,
    Captured,
    Closed,
    Ending,
    Entry,
    Opened,
    Recorded,
    Reopened,
    StepDone,
)
from usbwatch.model.steps import Step

__all__ = ["RecordedLook", "Standing", "Story", "looks", "steps_since", "story", "written_down"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One entry, and what stands in it after all amendments."""

    entry: Entry
    fact: Recorded | None
    """None: it was withdrawn."""
    amendments: tuple[Entry, ...] = ()
    """Oldest first; the last one holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What a unit's entries come to."""

    standings: tuple[Standing, ...]
    """In the order in which it all happened; amendments stand with what they amend."""
    opened: Opened
    ending: Ending | None
    """None while the unit is on the bench."""
    here: str = field(default="", compare=False)
    """The label by which the book that tells this knows the unit; "" where no book does.

    It differs from the unit's own where another unit of the book is called so. It is no part of the story.
    """

    @property
    def label(self) -> str:
        """What the unit is called by: the shop's own number for it, in this book."""
        return self.here or self.opened.label

    @property
    def model(self) -> str:
        """Id of the model's profile, or ""; also for what has not the form of one, which could name a file."""
        return self.opened.model if is_model(self.opened.model) else ""

    @property
    def visit(self) -> tuple[Standing, ...]:
        """What stands since the unit last came in, or since its healthy state was last kept: that one begins it.

        What a person had established of the state that was kept is still so, and stands before it.
        """
        first = _latest(self.standings, (Opened, Reopened, Baselined))
        established: list[Standing] = []
        if self.standings and isinstance(self.standings[first].fact, Baselined):
            state = _latest(self.standings[:first], (Opened, Reopened, StepDone))
            established = [each for each in self.standings[state:first] if isinstance(each.fact, Answered)]
        return (*established, *(each for each in self.standings[first:] if each.fact is not None))

    @property
    def baseline(self) -> Baselined | None:
        """The latest one."""
        kept = [each.fact for each in self.standings if isinstance(each.fact, Baselined)]
        return kept[-1] if kept else None

    @property
    def baseline_at(self) -> str:
        """When that was kept; "" where there is none."""
        kept = [each.entry.at for each in self.standings if isinstance(each.fact, Baselined)]
        return kept[-1] if kept else ""

    def by_number(self, number: int) -> Standing | None:
        """The entry with this number in this book; None for an amendment and for none at all."""
        return next((each for each in self.standings if each.entry.number == number), None)


def _latest(standings: Sequence[Standing], kinds: tuple[type, ...]) -> int:
    """Where the last entry of these kinds stands; 0 where there is none."""
    return max((place for place, each in enumerate(standings) if isinstance(each.fact, kinds)), default=0)


def written_down(entry: Entry) -> tuple[int, str, str]:
    """By this, entries stand as they were written down: what was known when another one was comes before it."""
    return entry.order, entry.recorded_at, entry.id


def story(entries: Sequence[Entry]) -> Story:
    """What the entries of one unit come to. Raises ValueError where none of them says that the unit was opened.

    Their numbers have no part in it: books that have the same entries tell the same story.
    """
    ordered = sorted(entries, key=lambda entry: (entry.at, entry.order, entry.id))
    amendments: dict[str, list[Entry]] = {}
    for entry in sorted(entries, key=written_down):
        if isinstance(entry.fact, Amended):
            amendments.setdefault(entry.fact.entry, []).append(entry)
    standings = tuple(
        _standing(entry, amendments.get(entry.id, ())) for entry in ordered if not isinstance(entry.fact, Amended)
    )
    opened = [each.fact for each in standings if isinstance(each.fact, Opened)]
    if not opened:
        raise ValueError("no entry says that the unit was opened")
    ending: Ending | None = None
    for each in standings:
        if isinstance(each.fact, Closed):
            ending = each.fact.ending
        elif isinstance(each.fact, Reopened):
            ending = None
    return Story(standings=standings, opened=opened[0], ending=ending)


def _standing(entry: Entry, amendments: Sequence[Entry]) -> Standing:
    if not amendments:
        return Standing(entry=entry, fact=entry.fact)
    last = amendments[-1].fact
    assert isinstance(last, Amended)
    return Standing(entry=entry, fact=last.instead, amendments=tuple(amendments))


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedLook:
    """One capture of a visit, with the steps before it and what a person established beside it."""

    capture: str
    """Digest of its document; "" where a person's answers are all there is of that state of the unit."""
    at: str
    number: int
    """Of the capture's entry; of the first answer where there is no capture."""
    steps: tuple[Step, ...] = ()
    answers: tuple[Answer, ...] = ()


def looks(told: Story) -> tuple[RecordedLook, ...]:
    """What was seen in the present visit, oldest first.

    A step begins a new state of the unit, and answers tell of the state in
    which they were given: of its latest capture before them, else of the first
    one after them. Of several answers to one question beside one capture the
    last holds.
    """
    found: list[RecordedLook] = []
    for steps, state in _states(told.visit):
        found += _looks_of_state(steps, state)
    return tuple(found)


def steps_since(told: Story) -> tuple[Step, ...]:
    """The steps of the present visit that nothing was seen after."""
    pending: list[Step] = []
    for each in told.visit:
        if isinstance(each.fact, StepDone):
            pending.append(each.fact.step)
        elif isinstance(each.fact, (Captured, Answered, Baselined)):
            pending.clear()
    return tuple(pending)


def _states(visit: Sequence[Standing]) -> Iterator[tuple[tuple[Step, ...], list[Standing]]]:
    """What was seen between steps, with the steps just before; steps that nothing follows change nothing yet."""
    steps: list[Step] = []
    seen: list[Standing] = []
    for each in visit:
        if isinstance(each.fact, StepDone):
            if seen:
                yield tuple(steps), seen
                steps, seen = [], []
            steps.append(each.fact.step)
        elif isinstance(each.fact, (Captured, Answered, Baselined)):
            seen.append(each)
    if seen:
        yield tuple(steps), seen


def _looks_of_state(steps: tuple[Step, ...], state: Sequence[Standing]) -> list[RecordedLook]:
    found: list[RecordedLook] = []
    early: tuple[Answer, ...] = ()
    for each in state:
        if isinstance(each.fact, Answered):
            if found:
                found[-1] = replace(
                    found[-1], answers=with_answer(found[-1].answers, each.fact.check, yes=each.fact.yes)
                )
            else:
                early = with_answer(early, each.fact.check, yes=each.fact.yes)
        elif isinstance(each.fact, (Captured, Baselined)):
            if found and found[-1].capture == each.fact.capture:
                continue
            found.append(
                RecordedLook(
                    capture=each.fact.capture,
                    at=each.entry.at,
                    number=each.entry.number,
                    steps=() if found else steps,
                    answers=() if found else early,
                )
            )
    if found:
        return found
    first = state[0].entry
    return [RecordedLook(capture="", at=first.at, number=first.number, steps=steps, answers=early)]
