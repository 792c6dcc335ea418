"""What ``usbwatch kit`` says when it is done: what it wrote, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable

from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe

__all__ = ["kit_view"]

_NAME_COLUMN = 14

_NEXT = (
    "Start a Linux live system on the unit and put the stick in.",
    "Run there: sudo sh FOLDER-OF-THE-STICK/capture.sh (it waits 10 s, then captures; READ-ME.txt tells the rest).",
    "Back here: usbwatch check NAME.json, or usbwatch check --root NAME.tar where the unit had no Python.",
)


def kit_view(folder: str, files: Iterable[tuple[str, str]], notes: Iterable[str] = ()) -> list[Line]:
    """The folder, each file with what it is, three steps, and what else is to be known."""
    return [
        line("kit written to ", (safe(folder), Style.STRONG), hang=2),
        *(line(f"  {safe(name).ljust(_NAME_COLUMN)}", what, hang=_NAME_COLUMN + 2) for name, what in files),
        BLANK,
        *(line(f"{number}. ", step, hang=3) for number, step in enumerate(_NEXT, start=1)),
        BLANK,
        line(("Note: ", Style.CAUTION), "a capture holds serial numbers of the unit; keep the stick safe.", hang=6),
        *(line(("Note: ", Style.CAUTION), note, hang=6) for note in notes),
    ]
