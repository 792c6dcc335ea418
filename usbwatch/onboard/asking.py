"""Asking a person by keys. Whoever does not answer for a while is taken to be gone, and the answer comes back."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from usbwatch.onboard.choice_page import CHOICE_KEYS, Choice, choice_lines, choice_page, notice_page, typing_page
from usbwatch.onboard.keys import BACKSPACE, DOWN, ENTER, ESCAPE, UP
from usbwatch.onboard.terminals import Terminals
from usbwatch.show.lines import Line

__all__ = ["PATIENCE_S", "chosen_of", "key_of", "read_through", "shown_until_key", "typed_line"]

PATIENCE_S = 180.0
_LONGEST_LINE = 200
_MORE = "m"


def key_of(choice: Choice, terminals: Terminals, patience_s: float = PATIENCE_S) -> str:
    """The key of what was chosen, "" for any other key, or for none."""
    terminals.show(lambda width, height: choice_page(choice, width, height), choice_lines(choice))
    for key in _next_keys(terminals, patience_s):
        return key if key in {one for one, _ in choice.items} else ""
    return ""


def chosen_of(
    title: str, words: Sequence[str], terminals: Terminals, *, none: str = "", warning: str = ""
) -> int | None:
    """The number of what was chosen, from 0; -1 where ``none`` was ("0"), None for going back."""
    pages = [range(at, min(at + len(CHOICE_KEYS), len(words))) for at in range(0, max(len(words), 1), len(CHOICE_KEYS))]
    at = 0
    while True:
        page = pages[at]
        items = [(CHOICE_KEYS[number - page.start], words[number]) for number in page]
        items += [("0", none)] if none else []
        items += [(_MORE, "more")] if len(pages) > 1 else []
        key = key_of(Choice(title=title, items=tuple(items), warning=warning), terminals)
        if key == _MORE:
            at = (at + 1) % len(pages)
        elif key == "0":
            return -1
        else:
            return page.start + CHOICE_KEYS.index(key) if key else None


def typed_line(title: str, below: Sequence[str], terminals: Terminals, text: str = "") -> str | None:
    """The line that was typed; None for going back."""

    def show() -> None:
        terminals.show(lambda width, height: typing_page(title, below, text, width, height), title)

    show()
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        keys = terminals.wait(1.0)
        for at, key in enumerate(keys):
            until = time.monotonic() + PATIENCE_S
            if key in (ENTER, ESCAPE):
                terminals.put_back(keys[at + 1 :])
                return text if key == ENTER else None
            if key == BACKSPACE:
                text = text[:-1]
            elif len(key) == 1:
                text = (text + key)[:_LONGEST_LINE]
            show()
    return None


def shown_until_key(lines: Sequence[Line], terminals: Terminals, patience_s: float = PATIENCE_S) -> str:
    """Show some lines until a key is pressed: the key, "" where nobody pressed one."""
    terminals.show(lambda width, height: notice_page(lines, "Any key: back", width, height), lines)
    return next(iter(_next_keys(terminals, patience_s)), "")


def read_through(lines: Callable[[int], Sequence[Line]], terminals: Terminals) -> None:
    """Lines for a width, page by page where the screen has fewer; on the serial line, which is not painted, at once."""
    from functools import cache

    from usbwatch.onboard.letters import console_line
    from usbwatch.onboard.serial_line import WIDTH
    from usbwatch.show.lines import wrapped

    top = 0

    @cache
    def rows(width: int) -> list[Line]:
        return list(wrapped(map(console_line, lines(width)), width))

    def page(width: int, height: int) -> list[Line]:
        whole = rows(width)
        last = min(top + height - 1, len(whole))
        foot = f"lines {top + 1} to {last} of {len(whole)}   m or down: on   up: back up   any other key: back"
        short = f"{last} of {len(whole)}  m: on  other key: back"
        return notice_page(whole[top:last], foot if len(foot) <= width else short, width, height)

    said: Sequence[Line] | str = lines(WIDTH)
    while True:
        terminals.show(page, said)
        said = ""
        key = next(iter(_next_keys(terminals, PATIENCE_S)), "")
        width, height = terminals.size()
        if key in (_MORE, DOWN, " ", ENTER) and top + height - 1 < len(rows(width)):
            top += height - 1
        elif key == UP:
            top = max(top - height + 1, 0)
        else:
            return


def _next_keys(terminals: Terminals, patience_s: float) -> tuple[str, ...]:
    """The next keys, none where there are none for so long."""
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        keys = terminals.wait(1.0)
        if keys:
            terminals.put_back(keys[1:])
            return keys[:1]
    return ()
