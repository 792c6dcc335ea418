"""Pages that ask: a list of which one is chosen by a single key, a line that is typed, a plain notice. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from usbwatch.onboard.blocks import Block, page_of
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe

__all__ = ["CHOICE_KEYS", "Choice", "choice_lines", "choice_page", "notice_page", "typing_page"]

CHOICE_KEYS = "123456789"
"""Keys of what can be chosen; more than these go on another page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What is asked, and what can be chosen, by key."""

    title: str
    items: tuple[tuple[str, str], ...]
    """Key and words."""
    warning: str = ""


def choice_lines(choice: Choice) -> list[Line]:
    """What is asked and what can be chosen, as long as it gets."""
    warned = [line(("! ", Style.CAUTION), (choice.warning, Style.CAUTION), hang=2)] if choice.warning else []
    return [
        line((choice.title, Style.HEADING), hang=2),
        *warned,
        BLANK,
        *(line((f" {key}  ", Style.STRONG), safe(words, 300), hang=4) for key, words in choice.items),
    ]


_BACK = "Any other key: back"


def choice_page(choice: Choice, width: int, height: int) -> list[Line]:
    """The same as exactly ``height`` lines."""
    return page_of([Block(wordings=(tuple(choice_lines(choice)),))], [line((_BACK, Style.FAINT))], width, height)


def typing_page(title: str, below: Sequence[str], typed: str, width: int, height: int) -> list[Line]:
    """A line that is being typed, its end in sight."""
    shown = safe(typed, 400)
    room = max(width - 4, 1)
    shown = shown[-room:] if len(shown) > room else shown
    lines = [
        line((title, Style.HEADING), hang=2),
        BLANK,
        line("> ", (f"{shown}_", Style.STRONG)),
        BLANK,
        *(line(one, hang=2) for one in below),
    ]
    foot = [line(("Enter: keep it   Esc: back", Style.FAINT))]
    return page_of([Block(wordings=(tuple(lines),))], foot, width, height)


def notice_page(lines: Sequence[Line], foot: str, width: int, height: int) -> list[Line]:
    """Some lines, and what to press."""
    return page_of([Block(wordings=(tuple(lines),))], [line((foot, Style.FAINT))], width, height)
