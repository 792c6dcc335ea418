"""The pieces a ticket is laid out from: headings, perforations, marked rows, labelled lists.

Every view uses the same pieces, so a technician learns to read one page. What
is wrong sticks out at the left edge, with its sign and its word in capitals;
what is fine stays in one line.
"""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.model import Verdict
from usbwatch.show.harness import Stub
from usbwatch.show.lines import BLANK, Line, Style, cells, line, rule, spread
from usbwatch.show.safe import safe
from usbwatch.show.words import SIGNS, STYLES, WORDS, listed

__all__ = [
    "MARGIN",
    "heading",
    "labelled",
    "mark",
    "perforation",
    "row",
    "stamp",
    "stub_heading",
    "stub_name",
]

MARGIN = 14
"""Columns that a sign and the longest state word take, with the gap after them."""

_SIDE_BY_SIDE = 96
"""From this width on, a row's reason stands beside the name, not under it."""

_NAME_COLUMN = 30


def heading(text: str) -> list[Line]:
    """A section's heading with a blank line above it."""
    return [BLANK, line((text.upper(), Style.HEADING))]


def stamp(text: str, sign: str, style: Style, width: int, *below: str) -> list[Line]:
    """The verdict, as wide as the page and not to be missed, with what else is to be said in one line each."""
    edge = rule("━", width, style)
    verdict = line((f" {sign}  {text[:1].upper()}{text[1:]}", style), hang=4)
    return [edge, verdict, *(line((f"    {more}", style), hang=4) for more in below if more), edge]


def perforation(stub: Stub, width: int, remark: str = "") -> Line:
    """Where a subassembly comes off: a dashed line that names the links to undo, and what is said of them."""
    if not stub.links or stub.toward is None:
        return rule("┄", width)
    names = listed([safe(link.name, 60) for link in stub.links])
    text = f" {names}, to the {_lower_first(safe(stub.toward.name, 60))} "
    said = f"({remark}) " if remark else ""
    rest = "┄" * max(3, width - 3 - cells(text) - cells(said))
    return line(("┄" * 3, Style.FAINT), text, (said, Style.WRONG), (rest, Style.FAINT), hang=4)


def stub_heading(stub: Stub, right: str, width: int, style: Style = Style.PLAIN) -> list[Line]:
    """A subassembly's name, with a short remark at the right edge."""
    return spread(line((stub_name(stub), Style.STRONG)), right, width, style)


def stub_name(stub: Stub) -> str:
    """A subassembly's name in capitals, as every page shows it."""
    return safe(stub.part.name, 60).upper() if stub.part else "IN NO SUBASSEMBLY"


def mark(sign: str, word: str, style: Style) -> tuple[str, Style]:
    """The sign and word that open a row, padded to the margin."""
    return (f"{sign} {word}".ljust(MARGIN), style)


def row(verdict: Verdict, name: str, reason: str, width: int) -> list[Line]:
    """One device and its state: the reason beside the name on a wide page, under it on a narrow one."""
    opening = mark(SIGNS[verdict], WORDS[verdict], STYLES[verdict])
    gap = _NAME_COLUMN - cells(name)
    if reason and width >= _SIDE_BY_SIDE and gap > 1:
        return [line(opening, (name, Style.STRONG), " " * gap, reason, hang=MARGIN + _NAME_COLUMN)]
    lines = [line(opening, (name, Style.STRONG), hang=MARGIN)]
    return [*lines, line(" " * MARGIN, reason, hang=MARGIN)] if reason else lines


def labelled(label: str, items: Sequence[str], set_in: int, style: Style = Style.FAINT, column: int = 18) -> list[Line]:
    """A label with the items it names after it; nothing when there are none."""
    if not items:
        return []
    return [line(" " * set_in, (label.ljust(column), style), ", ".join(items), hang=set_in + column)]


def _lower_first(text: str) -> str:
    return text if text[1:2].isupper() else f"{text[:1].lower()}{text[1:]}"
