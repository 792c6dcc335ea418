"""``unit baseline`` and ``unit close``: the unit is whole again, or leaves as it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example
from usbwatch.cli.unit.options import MONEY, opened, time_options, unit_argument, when
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.casebook import Story
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
    from usbwatch.compare import findings
    from usbwatch.errors import Refused

    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        told = its.story(unit)
        profile = profile_of(told, its)
        last = _last_capture(told, unit, seen_of(told, its, profile))
        found = findings(last.capture, profile, last.answers)
        lacking = _lacking(found, profile)
        if lacking and not reason:
            raise Refused(
                f"not all of unit {unit.label} is present and seen: {lacking}",
                "mend it and capture again, or say with --reason why it is kept as healthy all the same",
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

    again = f"capture it: usbwatch unit capture {typed(unit.label)}"
    if not seen or not looks(told)[-1].capture:
        raise Refused(f"unit {unit.label} was not captured since it came in or since the last step", again)
    if steps_since(told):
        raise Refused(f"something was done to unit {unit.label} since its last capture", again)
    return seen[-1]


def _lacking(found: Findings, profile: Profile) -> str:
    """What is not present, or answered with no, in words; "" where all is well and was seen."""
    from usbwatch.model import Verdict
    from usbwatch.show.words import WORDS, listed

    names = {device.id: device.name for device in profile.devices}
    told = [
        f"{names[one.device]} is {WORDS[one.verdict].lower()}"
        for one in found.findings
        if one.verdict is not Verdict.PRESENT
    ]
    told += [f"{answer.check} was answered no" for answer in found.answers if not answer.yes]
    told += ["the profile is for another model"] if found.other_model else []
    return listed(told)


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
    help='What had failed, as it turned out: PART, DEVICE or "KIND:PART"; nothing; or unknown. Repeatable.',
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
        if fact.ending is Ending.REPAIRED and told.baseline is None:
            say(f"usbwatch: unit {unit.label} leaves without a baseline to compare with when it comes back.")
    return exits.WELL


def _how(unit: Unit, number: int) -> str:
    return f'usbwatch unit amend {typed(unit.label)} {number} --set cause=… --reason "found"'
