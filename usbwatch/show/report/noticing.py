"""What the reader of a report should know of the unit's history before trusting the verdict."""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch.casebook import looks, steps_since
from usbwatch.model.history import Closed, StepDone
from usbwatch.model.steps import StepKind
from usbwatch.show.contradictions_view import contradiction_lines, resting_on_it
from usbwatch.show.localised import Localised
from usbwatch.show.report.source import Source
from usbwatch.show.story import notes, on_trial
from usbwatch.show.unit_entry import cause_names
from usbwatch.show.words import listed, part_name

__all__ = ["unit_notices"]


def _contradicting(localised: Localised) -> Iterator[str]:
    checked = localised.checked
    for seen in localised.seen:
        if seen.findings is not None:
            for one in contradiction_lines(seen.findings, checked.profile):
                if one.text.strip():
                    yield one.text.strip().removeprefix("! ")
    for one in resting_on_it(checked.findings, checked.profile):
        yield one.text.strip().removeprefix("! ")


def unit_notices(source: Source) -> Iterator[str]:
    """How its captures were read, parts on trial, steps that no capture followed, and how the case before ended."""
    yield from notes(source.localised)
    yield from _contradicting(source.localised)
    told, profile = source.told, source.localised.checked.profile
    if told is None:
        return
    steps = [*(step for look in looks(told) for step in look.steps), *steps_since(told)]
    for part in on_trial(steps):
        yield f"The {part_name(part, profile)} that is in is a known-good one on trial, not the unit's own."
    if source.localised.checked.pending:
        yield "Something was done since the last capture: what follows is of the state before that."
    fitted = [
        part_name(each.fact.step.of, profile)
        for each in told.standings
        if isinstance(each.fact, StepDone) and each.fact.step.kind is StepKind.FIT
    ]
    if fitted:
        yield f"Fitted in this shop: {listed(list(dict.fromkeys(fitted)))}."
    closed = [each.fact for each in told.standings if isinstance(each.fact, Closed) and each.fact.causes]
    if closed:
        yield f"What had failed, as the bench recorded it: {listed(cause_names(closed[-1], profile))}."
