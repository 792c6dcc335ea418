"""Which profiles, and which variant of a profile, fit a unit's strings.

Firmware writers are free with case and spaces, so both are folded before two
strings are compared. What more keys agree on is the better told.
"""

from __future__ import annotations

from collections.abc import Iterable

from usbwatch.model import Match, Profile, UnitStrings, Variant

__all__ = ["fits", "fitting", "folded", "variant_of"]


def folded(text: str) -> str:
    """``text`` for comparison: case folded, runs of white space as one space, none at the ends."""
    return " ".join(text.split()).casefold()


def fits(profile: Profile, unit: UnitStrings) -> bool:
    """Whether the profile is made for this unit; a profile that matches nothing, as a generic one, is not."""
    return _fits(profile.match, unit)


def fitting(unit: UnitStrings, profiles: Iterable[Profile]) -> tuple[Profile, ...]:
    """Profiles made for this unit, the most specific first; generic ones and those that match nothing are left out.

    Of two that are equally specific, the one that comes first in ``profiles`` stays first.
    """
    made_for_it = [profile for profile in profiles if not profile.generic and fits(profile, unit)]
    return tuple(sorted(made_for_it, key=lambda profile: -len(profile.match.strings)))


def variant_of(profile: Profile, unit: UnitStrings) -> Variant | None:
    """The most specific variant of ``profile`` that fits the unit; the first of equals; None when none fits."""
    told = [variant for variant in profile.variants if _fits(variant.match, unit)]
    return max(told, key=lambda variant: len(variant.match.strings), default=None)


def _fits(match: Match, unit: UnitStrings) -> bool:
    """Whether every key given equals one of its values; a match without keys fits nothing."""
    return bool(match.strings) and all(
        folded(getattr(unit, key, "")) in {folded(value) for value in values} - {""}
        for key, values in match.strings.items()
    )
