"""Pieces of a profile file's text: comments, keys with their values, titles.

Every text of a unit is hostile. It reaches a value only through tomlkit's
quoting, and a comment only through ``comment``, which leaves no character that
a terminal or a TOML reader would obey.
"""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import wrap

from usbwatch.safe import safe

__all__ = ["as_comment", "comment", "headline", "toml_lines", "toml_value"]

_WIDTH = 110
_LONGEST_COMMENT = 400


def comment(text: str, *, under: str = "# ") -> list[str]:
    """``text`` as comment lines without anything that a terminal would obey, cut when long."""
    shown = safe(text, _LONGEST_COMMENT)
    return [f"{under}{line}" for line in wrap(shown, _WIDTH - len(under), break_on_hyphens=False)]


def toml_value(value: object) -> str:
    """A TOML value; a list that is too long for a line has one item on each."""
    import tomlkit

    if isinstance(value, tuple | list):
        items = [toml_value(item) for item in value]
        flat = f"[{', '.join(items)}]"
        return flat if len(flat) <= _WIDTH - 10 else "[\n" + "".join(f"    {item},\n" for item in items) + "]"
    if isinstance(value, str) and "\\" in value and "'" not in value:
        return tomlkit.string(value, literal=True).as_string()
    return tomlkit.item(value).as_string()


def toml_lines(key: str, value: object, beside: str = "") -> list[str]:
    """A key with its value; what is said beside it stands at the end of the line, or above one that is long."""
    line = f"{key} = {toml_value(value)}"
    if not beside:
        return line.split("\n")
    short = comment(beside)
    if len(short) == 1 and "\n" not in line and len(line) + len(short[0]) + 2 <= _WIDTH:
        return [f"{line}  {short[0]}"]
    return [*short, *line.split("\n")]


def as_comment(lines: Iterable[str]) -> list[str]:
    """Lines of TOML behind a #, to be taken up by a person."""
    return [f"# {line}".rstrip() for line in lines]


def headline(text: str) -> str:
    """A comment that sets off a part of the file."""
    return f"# --- {text} ".ljust(79, "-")
