"""What happened from capture to capture: what came back, after which step, and what is odd in what was told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from usbwatch.model import Findings, Profile, Step, StepKind, Verdict
from usbwatch.plan import questions
from usbwatch.show.checked import Checked
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.localised import Localised, Seen
from usbwatch.show.recording import unit_command
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, labelled
from usbwatch.show.verdict import judged_wrong
from usbwatch.show.words import listed, part_name, step_words

__all__ = ["came_back", "complaints", "notes", "on_trial", "story_lines"]

_NAMED = 4
"""Devices that one sentence names."""


def notes(localised: Localised) -> tuple[str, ...]:
    """What the person who gave the captures should know of how they were read, a sentence each."""
    return (
        *_before_the_only(localised.seen),
        *_the_same(localised.seen),
        *_without_a_step(localised),
        *_to_be_asked_again(localised),
    )


def _before_the_only(seen: tuple[Seen, ...]) -> Iterator[str]:
    done = [step for step in seen[0].steps if step.kind is not StepKind.FLEX] if len(seen) == 1 else []
    if done:
        what = "the step is" if len(done) == 1 else "the steps are"
        yield (
            f"{what} taken as done before the only capture. If the capture was made before that, capture again and "
            "give both."
        )


def _the_same(seen: tuple[Seen, ...]) -> Iterator[str]:
    """A capture that is given once more after a step shows nothing of what the step did."""
    for place, one in enumerate(seen):
        first = next((before for before in range(place) if _is_same(seen[before], one)), None)
        if first is not None and any(between.steps for between in seen[first + 1 : place + 1]):
            yield (
                f"capture {place + 1} is the same capture as {first + 1}: nothing was looked at after the step, though "
                "it is weighed as if it were. Capture again, and give that one."
            )


def _is_same(one: Seen, other: Seen) -> bool:
    """Two looks at a unit differ at least in their time; without a time only the file tells."""
    named = bool(one.capture.taken_at) or (one.path == other.path and one.path not in ("", "-"))
    return named and one.capture == other.capture


def _without_a_step(localised: Localised) -> Iterator[str]:
    for number, (before, after) in enumerate(pairwise(localised.seen), 1):
        back = came_back(before.findings, after.findings)
        if back and not after.steps:
            names = _names(back, localised.checked.profile)
            verb = "is" if len(back) == 1 else "are"
            yield (
                f"{names} {verb} back in capture {number + 1} without a step, which is taken for a fault that comes "
                f"and goes. If something was done between the captures, {_say_so(localised.checked.label)}."
            )


def complaints(seen: Iterable[Seen]) -> tuple[str, ...]:
    """Ids of the hand checks that were answered with no, and not again since something was done to the unit."""
    last: dict[str, bool] = {}
    now: set[str] = set()
    for one in seen:
        last |= {answer.check: answer.yes for answer in one.answers}
        now = {answer.check for answer in one.answers}
    return tuple(check for check, yes in last.items() if not yes and check not in now)


def _to_be_asked_again(localised: Localised) -> Iterator[str]:
    asked = questions(localised.checked.profile)
    for check in complaints(localised.seen):
        question = safe(asked.get(check, check))
        yield f"“{question}” was answered with no, and not again since something was done: ask again."


def _say_so(label: str) -> str:
    if label:
        return f"record it ({unit_command('step', label)} …, with --at for when it was done)"
    return "say it with --did"


def came_back(before: Findings | None, after: Findings | None) -> tuple[str, ...]:
    """Ids of what was not well in the one and is well in the other: devices, then hand checks."""
    if before is None or after is None:
        return ()
    was = {one.device: one for one in before.findings}
    devices = [
        one.device
        for one in after.findings
        if (one.verdict is Verdict.PRESENT or one.came_and_went)
        and one.device in was
        and (was[one.device].verdict in _NOT_WELL or was[one.device].charged_to)
    ]
    failed = {answer.check for answer in before.answers if not answer.yes}
    return (*devices, *(answer.check for answer in after.answers if answer.yes and answer.check in failed))


_NOT_WELL = (Verdict.MISSING, Verdict.IMPAIRED)


def story_lines(localised: Localised) -> list[Line]:
    """Of a unit that is well by now: each step with what came back after it, and what is still in on trial."""
    if judged_wrong(localised.checked.findings) or not any(one.steps for one in localised.seen[1:]):
        return []
    told = [one for before, after in pairwise(localised.seen) for one in _chapter(before, after, localised)]
    return [*heading("What was done, and what came back after it"), *told, *_on_trial(localised)]


def _chapter(before: Seen, after: Seen, localised: Localised) -> list[Line]:
    """The steps before one capture. Of several together no capture says which one it was."""
    if not after.steps:
        return []
    profile = localised.checked.profile
    back = came_back(before.findings, after.findings)
    said = _names(back, profile, most=len(back)) if back else "nothing"
    together = ["which of the steps it was, no capture tells"] if back and len(after.steps) > 1 else []
    return [
        BLANK,
        *(line("  ", (step_words(step, profile), Style.STRONG), hang=4) for step in after.steps),
        *labelled("came back", [said, *together], 4, column=14),
    ]


def _on_trial(localised: Localised) -> list[Line]:
    steps = [step for one in localised.seen for step in one.steps]
    return [one for of in on_trial(steps) for one in _still_in(of, localised.checked)]


def on_trial(steps: Iterable[Step]) -> tuple[str, ...]:
    """Ids of the parts known to be good that were put in on trial and not taken out again."""
    trial: dict[str, None] = {}
    for step in steps:
        if step.kind is StepKind.SWAP:
            trial[step.of] = None
        elif step.kind in (StepKind.BACK, StepKind.FIT):
            trial.pop(step.of, None)
    return tuple(trial)


def _still_in(part: str, checked: Checked) -> list[Line]:
    label = checked.label
    back = f"{unit_command('step', label) if label else '--did'} back:{safe(part, 60)}"
    said = (
        f"The {part_name(part, checked.profile)} that is in is the one on trial: buy one, or put the first one back "
        f"({back} with a new capture: if the unit is then well, the first one was good)."
    )
    return [BLANK, line("  ", ("! ", Style.CAUTION), (said, Style.CAUTION), hang=4)]


def _names(ids: tuple[str, ...], profile: Profile, most: int = _NAMED) -> str:
    known = {device.id: device.name for device in profile.devices} | questions(profile)
    named = [safe(known.get(one, one), 100) for one in ids[:most]]
    return listed([*named, *([f"{len(ids) - most} more"] if len(ids) > most else [])])
