"""The list ``usb.ids`` as the distribution installs it (Debian and Ubuntu: package usb.ids).

A test that needs it fails in CI where it is not installed, and is skipped elsewhere.
"""

from __future__ import annotations

import re
from functools import cache

from support.needs import needed_file

_PLACES = ("/usr/share/misc/usb.ids", "/usr/share/hwdata/usb.ids")
_ENTRY = re.compile(r"(\t*)([0-9a-f]{2,4})  (.*)")


def _lines() -> list[str]:
    return needed_file(_PLACES, "usb.ids").read_text(encoding="utf-8", errors="replace").splitlines()


@cache
def _named(heading: str) -> dict[tuple[int, ...], str]:
    """Code path to name of all entries under headings ``C 03  Name`` (or ``HUT 01  Name``)."""
    named: dict[tuple[int, ...], str] = {}
    path: list[int] | None = None
    for line in _lines():
        if line.startswith(f"{heading} "):
            line = line.removeprefix(f"{heading} ")  # noqa: PLW2901
            path = []
        elif not line.startswith("\t"):
            path = None
        entry = _ENTRY.match(line)
        if path is not None and entry:
            path[len(entry[1]) :] = [int(entry[2], 16)]
            named[tuple(path)] = entry[3].strip()
    assert named, f"usb.ids has no entries under {heading}"
    return named


def classes() -> dict[tuple[int, ...], str]:
    """Names by ``(class,)``, ``(class, subclass)`` and ``(class, subclass, protocol)``."""
    return _named("C")


def hid_usages() -> dict[tuple[int, ...], str]:
    """Names by ``(usage page,)`` and ``(usage page, usage)``."""
    return _named("HUT")


def class_codes(*names: str) -> tuple[int, ...]:
    """The code of a class, subclass or protocol by the names on the way to it."""
    return _codes(classes(), names)


def usage_codes(page: str, usage: str) -> tuple[int, ...]:
    """Usage page and usage by their names."""
    return _codes(hid_usages(), (page, usage))


def _codes(named: dict[tuple[int, ...], str], names: tuple[str, ...]) -> tuple[int, ...]:
    for codes in named:
        if tuple(named[codes[: depth + 1]] for depth in range(len(codes))) == names:
            return codes
    raise AssertionError(f"usb.ids has no {' / '.join(names)}")
