"""Mutations by structure: documents of JSON and lines of text, changed in one place or several and still such.

Each is a function of an input and a source of chance. An input that has not the structure comes back as it was.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from random import Random
from typing import Any

__all__ = ["in_json", "in_lines"]

_TEXTS = (
    "",
    " ",
    "\x00",
    "\x1b[2J\x1b[H",
    "\x9b2J",
    "Larch\n✓ present",
    "a\rb",
    "\u202eelohw",
    "\u200b\ufeff\u2066",
    "e" + "\u0301" * 40,
    "[bold red]x[/bold red]",
    "<script>alert(1)</script>",
    "=cmd()",
    "../../x",
    "/etc/passwd",
    "k" * 300,
    "acpi/_SB_.BAT0",
    "pci0000:00/14.0/usb2/1",
    "1209:0001",
    "9" * 30,
    "-1",
    "0x",
    "1e999",
    "2026-02-30T25:61:61Z",
    "９",
    "²",
    "Ⅷ",
)
_NUMBERS = (0, 1, -1, 2, 255, 256, 65535, 2**31, 2**32, -(2**31), 2**53, 2**53 - 1, -(2**53), 2**63, 2**64, 10**30)
_OTHERS: tuple[Any, ...] = (None, True, False, 0.5, -0.0, 1e308, [], {}, [[]], {"": ""})
_LINES = (
    "",
    "\t",
    "=",
    "#",
    "\\",
    '"""',
    "[",
    "]",
    "[[x]]",
    "x = 1",
    "alias * x",
    "POWER_SUPPLY_X=",
    "\0",
    "\xff",
    "...",
    "-1",
    "9" * 40,
)


def in_json(data: bytes, chance: Random) -> bytes:
    """The document with one to four changes: a value put otherwise, left out, doubled, moved or named anew."""
    try:
        whole = [json.loads(data)]
    except (ValueError, RecursionError):
        return data
    for _ in range(chance.randint(1, 4)):
        _change(whole, chance)
    try:
        return json.dumps(whole[0], ensure_ascii=bool(chance.randrange(2))).encode("utf-8", "surrogatepass")
    except (ValueError, RecursionError):
        return data


def _holders(whole: Any) -> list[tuple[Any, Any]]:  # noqa: ANN401 - whatever JSON holds
    """Every place in a document: what holds it, and its key or number there."""
    found: list[tuple[Any, Any]] = []
    waiting = [whole]
    while waiting and len(found) < 20_000:
        inner = waiting.pop()
        keys = list(inner) if isinstance(inner, dict) else range(len(inner))
        found += [(inner, key) for key in keys]
        waiting += [inner[key] for key in keys if isinstance(inner[key], dict | list)]
    return found


def _change(whole: list[Any], chance: Random) -> None:
    places = _holders(whole)
    holder, key = chance.choice(places)
    ways: list[Callable[[], object]] = [
        lambda: holder.__setitem__(key, _other(holder[key], chance)),
        lambda: holder.__setitem__(key, _other(holder[key], chance)),
        lambda: holder.__setitem__(key, chance.choice([one[where] for one, where in places])),
    ]
    if holder is not whole:
        ways.append(lambda: holder.__delitem__(key))
        if isinstance(holder, list):
            ways.append(lambda: holder.insert(chance.randint(0, len(holder)), holder[key]))
        else:
            ways.append(lambda: holder.__setitem__(chance.choice(_TEXTS), holder.pop(key)))
            ways.append(lambda: holder.__setitem__(chance.choice(list(holder)), holder[key]))
    try:
        chance.choice(ways)()
        json.dumps(whole)
    except (ValueError, RecursionError):  # it holds itself now
        whole[0] = None


def _other(value: Any, chance: Random) -> Any:  # noqa: ANN401 - the same
    """Something in the place of a value, most often of its own type."""
    if chance.randrange(8) == 0:
        return chance.choice((*_TEXTS, *_NUMBERS, *_OTHERS))
    if isinstance(value, str):
        text = chance.choice(_TEXTS)
        at = chance.randint(0, len(value))
        return chance.choice((text, value[:at] + text + value[at:], value[:at], value * 2))
    if isinstance(value, int):
        return chance.choice((*_NUMBERS, value + 1, value - 1, -value, not value))
    return chance.choice(_OTHERS)


def in_lines(data: bytes, chance: Random) -> bytes:
    """The text with one to four of its lines left out, doubled, moved, cut, joined, or with words put otherwise."""
    lines = data.decode("utf-8", "surrogateescape").split("\n")
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(lines))
        ways: tuple[Callable[[], object], ...] = (
            lambda at=at: lines.__delitem__(at) if len(lines) > 1 else None,  # type: ignore[misc] # the loop's own
            lambda at=at: lines.insert(chance.randint(0, len(lines)), lines[at]),  # type: ignore[misc]
            lambda at=at: lines.insert(at, chance.choice(_LINES)),  # type: ignore[misc]
            lambda at=at: lines.__setitem__(at, _reworded(lines[at], chance)),  # type: ignore[misc]
            lambda at=at: lines.__setitem__(at, _reworded(lines[at], chance)),  # type: ignore[misc]
            lambda at=at: lines.__setitem__(at, lines[at][: chance.randint(0, len(lines[at]))]),  # type: ignore[misc]
        )
        chance.choice(ways)()
    return "\n".join(lines).encode("utf-8", "surrogateescape" if chance.randrange(2) else "backslashreplace")


def _reworded(line: str, chance: Random) -> str:
    """A line of which one word is another, stands twice, or is gone."""
    words = line.split(" ")
    at = chance.randrange(len(words))
    new = chance.choice((*_TEXTS, *(str(one) for one in _NUMBERS), '""', "[]", "{}", "true", "1.5"))
    words[at : at + 1] = chance.choice(([new], [words[at], words[at]], [words[at] + new], []))
    return " ".join(words)
