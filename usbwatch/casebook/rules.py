"""What can be recorded of a unit as it stands."""

from __future__ import annotations

from usbwatch.casebook.entries import kind_of
from usbwatch.casebook.story import Story
from usbwatch.errors import Refused
from usbwatch.model.history import Amended, Attached, Closed, Entry, Noted, Opened, Recorded, Reopened
from usbwatch.safe import safe, typed

__all__ = [
    "LONGEST_LABEL",
    "checked_label",
    "folded",
    "refuse_opening",
    "refuse_out_of_place",
    "refuse_out_of_time",
    "refuse_unlike",
    "storable",
]

LONGEST_LABEL = 60
_LONGEST_MODEL = 200


def folded(label: str) -> str:
    """A label with case and spaces folded: two units of one book never share it.

    >>> folded("LB  0007")
    'lb 0007'
    """
    return storable(" ".join(label.split()).casefold())


def storable(text: str) -> str:
    r"""The text as either store can hold it: half a surrogate pair is written out, and a NUL is left away.

    >>> storable("a\udcffb\0")
    'a\\udcffb'
    """
    return text.encode("utf-8", "backslashreplace").decode().replace("\0", "")


def checked_label(label: str) -> str:
    """The label with single spaces, and none around it. Raises ``Refused`` for one that cannot be shown or typed."""
    label = " ".join(label.split())
    if not label or safe(label, LONGEST_LABEL) != label:
        raise Refused(
            f"a label has 1 to {LONGEST_LABEL} characters that can be printed, and '{label}' does not",
            "choose another label",
        )
    if label.startswith("-"):
        raise Refused(f"the label '{label}' begins with a hyphen, like an option", "choose another label")
    return label


def refuse_opening(opened: Opened) -> None:
    """Raise ``Refused`` for a label, or an id of a profile, that cannot be shown or typed."""
    checked_label(opened.label)
    if len(opened.model) > _LONGEST_MODEL or not opened.model.isprintable():
        raise Refused(
            f"the id of a profile has up to {_LONGEST_MODEL} characters that can be printed, "
            f"and '{opened.model}' does not",
            "name a profile that usbwatch profile list shows",
        )


def refuse_out_of_place(fact: Recorded, told: Story) -> None:
    """Raise ``Refused`` for a fact that the unit's history leaves no room for."""
    if isinstance(fact, Opened):
        raise Refused(f"unit {told.label} is in the book already", "choose another label")
    if isinstance(fact, Amended):
        _refuse_amendment(fact, told)
    elif isinstance(fact, Reopened):
        if told.ending is None:
            raise Refused(f"unit {told.label} is on the bench", "close it first, or record what there is to record")
    elif told.ending is not None and not isinstance(fact, (Noted, Attached)):
        raise Refused(
            f"unit {told.label} is closed ({told.ending.value})",
            f"if it came back, first: usbwatch unit reopen {typed(told.label)}",
        )


def refuse_out_of_time(entry: Entry, told: Story) -> None:
    """Raise ``Refused`` for an entry whose time would take away its sense.

    What is told to have happened before the unit came in belongs to no visit;
    a closing or a return counts after the last one before it.
    """
    if isinstance(entry.fact, Amended):
        return
    turns = (Opened, Closed, Reopened) if isinstance(entry.fact, (Closed, Reopened)) else (Opened,)
    last = max(each.entry.at for each in told.standings if isinstance(each.fact, turns))
    if entry.at < last:
        done = "came in" if last == _opened_at(told) else "was last closed or reopened"
        raise Refused(
            f"{entry.at} is before unit {told.label} {done} ({last})", "leave --at away, or give a later time"
        )


def _opened_at(told: Story) -> str:
    return next(each.entry.at for each in told.standings if isinstance(each.fact, Opened))


def _refuse_amendment(fact: Amended, told: Story) -> None:
    about = next((each for each in told.standings if each.entry.id == fact.entry), None)
    if about is None:
        raise Refused(
            f"unit {told.label} has no such entry that could be amended",
            f"amend the entry itself, not its amendment; usbwatch unit show {typed(told.label)} has the numbers",
        )
    refuse_unlike(fact, about.entry)


def refuse_unlike(fact: Amended, about: Entry) -> None:
    """Raise ``Refused`` where what is to stand in an entry's place cannot."""
    if fact.instead is None and isinstance(about.fact, Opened):
        raise Refused("the entry that opened the unit cannot be withdrawn", "close the unit instead")
    if fact.instead is not None and type(fact.instead) is not type(about.fact):
        was, now = kind_of(about.fact), kind_of(fact.instead)
        raise Refused(
            f"entry {about.number} is of kind {was}, and cannot become one of kind {now}",
            "withdraw it, and record the other one",
        )
    if isinstance(fact.instead, Opened):
        refuse_opening(fact.instead)
