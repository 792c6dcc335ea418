"""What of the shop's own goes along on a stick: its profiles, with prices or without, and its closed cases."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from usbwatch.stick.building import Recipe

__all__ = ["recipe_of"]


def recipe_of(
    folders: Sequence[str], *, money: bool, priors: bool, book: str | None, further: tuple[str, ...]
) -> tuple[Recipe, list[str]]:
    """What the stick is to be, and what of the user's own is left out, a sentence each.

    ``folders``: with profiles, besides the user's own library; ``book``: the casebook for ``priors``, None for the
    usual one; ``further``: packages. Raises ``BadProfile``, and what opening a casebook raises.
    """
    from usbwatch.errors import BadProfile
    from usbwatch.profile import files_in, library
    from usbwatch.profile.library import is_shipped
    from usbwatch.stick.building import Recipe
    from usbwatch.stick.own_profiles import gathered

    at_hand = library()
    notices = _of_whom()
    notices += [f"left out of the stick: {error}" for error in at_hand.broken]
    files = [one.path for one in at_hand.profiles if not is_shipped(one)]
    for folder in folders:
        found, passed_over = files_in(folder)
        if not found:
            raise BadProfile(folder, (("", "there is no .toml file in this folder"),))
        files += found
        notices += [f"left out of the stick: {one} is a link or no plain file" for one in passed_over]
    profiles = gathered(files, money=money)
    experience = None
    if priors:
        ids = {one.id for one in at_hand.profiles} | {name.removesuffix(".toml") for name in profiles}
        experience = _experience(book, sorted(ids))
        if experience is None:
            notices.append("the casebook has no closed case with a known cause, so none goes along")
    recipe = Recipe(profiles=profiles, experience=experience, money=money, further=further)
    return recipe, notices


def _of_whom() -> list[str]:
    """Whose profiles go along, where that may be another than who typed the command."""
    import os

    person = os.environ.get("SUDO_USER")
    if not person or os.geteuid() != 0:
        return []
    return [
        f"under sudo the profiles and the casebook of root go along, not those of {person}; build without sudo first."
    ]


def _experience(address: str | None, ids: list[str]) -> str | None:
    """The document of what the closed cases come to for each profile, None where there are none."""
    from usbwatch.cli.unit.options import opened
    from usbwatch.stick.experience import experience_json

    with opened(address, must_exist=True) as book:
        found = {id_: book.experience(id_) for id_ in ids}
    known = {id_: one for id_, one in found.items() if one.cases or one.own}
    return experience_json(known) if known else None
