"""``unit baseline`` and ``unit close``: the unit is whole again, or leaves as it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example
from usbwatch.cli.unit.options import MONEY, opened, time_options, unit_argument, when
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.casebook import Book, Story
    from usbwatch.model import Findings, Profile
    from usbwatch.model.history import Baselined, Unit
    from usbwatch.show import Seen

__all__ = ["ENDINGS", "close_unit", "keep_baseline"]

ENDINGS = {"repaired": "repaired", "sold-as-is": "sold as is", "parted-out": "parted out", "returned": "returned"}
"""How a unit can leave, as it is typed and as the model has it."""


@click.command(name="baseline", epilog=example("usbwatch unit baseline LB-0001"))
@unit_argument
@click.option("--reason", default="", metavar="TEXT", help="Why it is kept although not all is present and seen.")
@time_options
@book_option
def keep_baseline(label: str, *, reason: str, at: str, by: str, book: str | None) -> int:
    """Keep the latest capture as the unit's healthy state.

    The serial numbers of its parts are kept with it. It is refused while
    something is missing, impaired or unseen, unless a reason is given. When the
    unit comes back, a check compares with its baseline first.
    """
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.recorded import profile_of, seen_of
    from usbwatch.cli.weighing import judged
    from usbwatch.errors import Refused
    from usbwatch.show.words import listed

    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        told = its.story(unit)
        profile = profile_of(told, its)
        seen = judged(seen_of(told, its, profile), profile)
        last = _last_capture(told, unit, seen)
        found = last.findings
        assert found is not None, "what was judged has findings"
        lacking = listed(
            [*_lacking(found, profile, unit.label), *_complaint_words(seen, profile), *_trial_words(told, profile)]
        )
        if lacking and not reason:
            raise Refused(
                f"not all of unit {unit.label} is present and seen: {lacking}",
                "put that right and capture again, or say with --reason why it is kept as healthy all the same",
            )
        fact = _baselined(told, last, found, reason if lacking else "")
        (entry,) = its.record(unit, [fact], when(at, by))
        say(
            f"usbwatch: entry {entry.number} of unit {unit.label} keeps its baseline: the capture of {last.when}, with "
            f"{len(fact.serials)} serial numbers"
        )
    return exits.WELL


def _last_capture(told: Story, unit: Unit, seen: tuple[Seen, ...]) -> Seen:
    """The latest look of this visit, once that is known to be a capture that was taken after the last step."""
    from usbwatch.casebook import looks, steps_since
    from usbwatch.errors import Refused

    capture = f"usbwatch unit capture {typed(unit.label)} FILE"
    if not seen or not looks(told)[-1].capture:
        raise Refused(
            f"unit {unit.label} was not captured since it came in or since the last step", f"capture it: {capture}"
        )
    if steps_since(told):
        again = f"capture it: {capture}"
        if _comes_and_goes(seen[-1].findings):
            again = (
                f"watch it, for a plain capture proves no contact: usbwatch watch -o FILE on the unit, then {capture}"
            )
        raise Refused(f"something was done to unit {unit.label} since its last capture", again)
    return seen[-1]


def _comes_and_goes(found: Findings | None) -> bool:
    """Whether the unit was last seen with a device that comes and goes, or that has not been proven since."""
    from usbwatch.model import Symptom

    told = found.findings if found is not None else ()
    return any(one.symptom is Symptom.INTERMITTENT or one.came_and_went for one in told)


def _lacking(found: Findings, profile: Profile, label: str) -> list[str]:
    """What is not present, or answered with no, in words; nothing where all is well and was seen."""
    from usbwatch.model import Verdict
    from usbwatch.plan import questions
    from usbwatch.show.recording import for_unit
    from usbwatch.show.verdict import not_proven
    from usbwatch.show.words import WORDS

    names = {device.id: device.name for device in profile.devices}
    told = [
        f"{names[one.device]} is {WORDS[one.verdict].lower()}"
        + (f" (to see it: {for_unit(one.would_tell, label)})" if one.would_tell else "")
        for one in found.findings
        if one.verdict is not Verdict.PRESENT and not one.came_and_went
    ]
    told += [f"{unproven} (usbwatch watch)"] if (unproven := not_proven(found)) else []
    asked = questions(profile)
    told += [f'"{asked.get(one.check, one.check)}" was answered no' for one in found.answers if not one.yes]
    return told + (["the profile is for another model"] if found.other_model else [])


def _complaint_words(seen: tuple[Seen, ...], profile: Profile) -> list[str]:
    """The hand checks that failed before something was done, and were not asked again since."""
    from usbwatch.plan import questions
    from usbwatch.show.story import complaints

    asked = questions(profile)
    return [f'"{asked.get(check, check)}" was answered no, and not again since' for check in complaints(seen)]


def _not_proven(told: Story, its: Book, profile: Profile) -> str:
    """What came and went in this visit and was not watched again since, as one clause; "" for nothing."""
    from usbwatch.cli.unit.recorded import seen_of
    from usbwatch.cli.weighing import judged
    from usbwatch.show.verdict import not_proven

    seen = judged(seen_of(told, its, profile), profile)
    found = seen[-1].findings if seen else None
    return not_proven(found) if found is not None else ""


def _trial_words(told: Story, profile: Profile) -> list[str]:
    """Parts of the bench's own that are still in the unit on trial."""
    from usbwatch.casebook import looks, steps_since
    from usbwatch.show.story import on_trial
    from usbwatch.show.words import part_name

    steps = [*(step for look in looks(told) for step in look.steps), *steps_since(told)]
    return [f"the {part_name(part, profile)} that is in is the one on trial" for part in on_trial(steps)]


def _baselined(told: Story, last: Seen, found: Findings, reason: str) -> Baselined:
    from usbwatch.casebook import looks
    from usbwatch.compare import serials
    from usbwatch.model.history import Baselined, PartSerial
    from usbwatch.safe import safe

    told_serials = serials(last.capture, found)
    return Baselined(
        capture=looks(told)[-1].capture,
        serials=tuple(dict.fromkeys(PartSerial(of=one.of, serial=safe(one.serial)) for one in told_serials)),
        reason=reason,
    )


@click.command(
    name="close",
    epilog=example(
        "usbwatch unit close LB-0001 repaired --cause mainboard-gauge --brought 260",
        "usbwatch unit close LB-0002 parted-out",
    ),
)
@unit_argument
@click.argument("ending", type=click.Choice(list(ENDINGS)))
@click.option(
    "--cause",
    "causes",
    multiple=True,
    metavar="FAILURE",
    help="What had failed, as it turned out: PART or DEVICE, as usbwatch profile show MODEL --full names them, or "
    '"KIND:PART"; nothing; or unknown. Repeatable.',
)
@click.option("--brought", type=MONEY, help="What it was sold for, or what the customer paid.")
@click.option("--remark", default="", metavar="TEXT", help="Anything else.")
@time_options
@book_option
def close_unit(
    label: str,
    ending: str,
    *,
    causes: tuple[str, ...],
    brought: int | None,
    remark: str,
    at: str,
    by: str,
    book: str | None,
) -> int:
    """Close a unit's case: how it leaves, and what had failed.

    Where the cause is known the case counts from now on: what failed here is
    likelier in the next unit, and all that did not is less likely.
    """
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.causes import with_causes
    from usbwatch.model.history import Closed, Ending

    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        told = its.story(unit)
        bare = Closed(ending=Ending(ENDINGS[ending]), model=told.model, brought=brought, remark=remark)
        fact, papers = with_causes(bare, causes, told, its)
        (entry,) = its.record(unit, [fact], when(at, by), papers)
        counts = (
            "" if fact.cause_known else f"; it teaches nothing until its cause is known: {_how(unit, entry.number)}"
        )
        say(f"usbwatch: unit {unit.label} is closed ({fact.ending.value}), entry {entry.number}{counts}")
        for words in _open_words(told, its, whole=fact.ending is Ending.REPAIRED):
            say(f"usbwatch: unit {unit.label} leaves, and {words}.")
        if fact.ending is Ending.REPAIRED and told.baseline is None:
            say(f"usbwatch: unit {unit.label} leaves without a baseline to compare with when it comes back.")
    return exits.WELL


def _open_words(told: Story, its: Book, *, whole: bool) -> list[str]:
    """What a unit leaves with; of one that leaves as ``whole`` also what is not proven."""
    from usbwatch.cli.unit.recorded import profile_of

    if not told.model:
        return []
    profile = profile_of(told, its)
    unproven = _not_proven(told, its, profile) if whole else ""
    return [*_trial_words(told, profile), *([unproven] if unproven else [])]


def _how(unit: Unit, number: int) -> str:
    return f'usbwatch unit amend {typed(unit.label)} {number} --set cause=… --reason "found"'
