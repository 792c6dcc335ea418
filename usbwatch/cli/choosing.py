"""Which profile a capture is compared with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli.screen import asks, say

if TYPE_CHECKING:
    from usbwatch.model import Capture, Profile, UnitStrings
    from usbwatch.profile import Library

__all__ = ["GENERIC", "chosen", "fitting_or_none", "no_fit_sentence", "tell_of_broken"]

GENERIC = "generic-clamshell"
"""Fits any laptop by function."""


def chosen(capture: Capture, name: str | None, *, may_ask: bool) -> Profile:
    """The profile that was named; else the one that fits the unit; else the one that a person names now.

    Where nobody can be asked it is the generic one, and that is said.
    """
    from usbwatch import profile as profiles

    if name is not None:
        return profiles.find(name)
    near = profiles.library(capture.unit)
    fits = profiles.fitting(capture.unit, near.profiles)
    if fits:
        tell_of_broken(near)
        _tell_of_equals(fits)
        return fits[0]
    library = profiles.library()
    tell_of_broken(library)
    names = [profile.id for profile in library.profiles]
    sentence = no_fit_sentence(capture.unit, names)
    if may_ask and asks():
        return profiles.find(_asked_for(sentence, names))
    say(f"usbwatch: {sentence}")
    return profiles.find(GENERIC)


def _tell_of_equals(fits: tuple[Profile, ...]) -> None:
    """Say which profile was taken where others fit the unit just as well."""
    from usbwatch.show import safe

    equal = [safe(one.id, 60) for one in fits if len(one.match.strings) == len(fits[0].match.strings)]
    if len(equal) > 1:
        say(
            f"usbwatch: {equal[0]} is used; {', '.join(equal[1:])} fits this unit as well; name the one you mean with"
            " --profile."
        )


def fitting_or_none(capture: Capture) -> Profile | None:
    """The known profile that fits the unit's own strings best, if any does."""
    from usbwatch import profile as profiles

    return next(iter(profiles.fitting(capture.unit, profiles.library(capture.unit).profiles)), None)


def tell_of_broken(library: Library) -> None:
    """Say which of the user's own profiles could not be used, one line each."""
    for error in library.broken:
        say(f"usbwatch: profile left out: {error}")


def _asked_for(sentence: str, names: list[str]) -> str:
    say(f"usbwatch: {sentence}")
    answer = click.prompt("Profile", default=GENERIC, type=click.Choice(names), show_choices=False, err=True)
    return str(answer)


def no_fit_sentence(unit: UnitStrings, names: list[str]) -> str:
    """What is wrong when no profile fits, and what to do, in one sentence."""
    from usbwatch.show import safe
    from usbwatch.show.words import unit_name

    known = ", ".join(safe(name, 60) for name in names if name != GENERIC)
    return (
        f"no profile fits {unit_name(unit)}; name one with --profile ({known}); "
        f"without that it is compared by function alone, with {GENERIC}."
    )
