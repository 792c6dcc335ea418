"""The user's own profiles as they go along: each read and checked, and without prices where none are to be shown."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

__all__ = ["gathered", "without_money"]

_WITH_COST = ("subassembly", "section", "link", "rail")
"""Tables of a profile whose entries may have a cost (docs/profile.md)."""


def gathered(files: Iterable[str], *, money: bool) -> dict[str, str]:
    """By the name that each gets on the stick, the texts of profiles; a later file takes the place of one with its id.

    Raises ``BadProfile`` for the first that is not sound.
    """
    from usbwatch.profile import parse, text_in

    found = {}
    for path in files:
        text = text_in(path)
        profile = parse(text, path)
        found[f"{profile.id}.toml"] = text if money else without_money(text)
    return found


def without_money(text: str) -> str:
    """A sound profile's text without what parts cost and what a unit brings; comments may tell that, so none stays."""
    import tomllib

    import tomlkit

    from usbwatch.profile import sealed

    document: dict[str, Any] = tomllib.loads(text.removeprefix("\ufeff"))
    document["money"] = {key: value for key, value in document.get("money", {}).items() if key == "currency"}
    for table in _WITH_COST:
        for entry in document.get(table, {}).values():
            entry.pop("cost", None)
    return sealed(tomlkit.dumps({key: value for key, value in document.items() if value != {}}))
