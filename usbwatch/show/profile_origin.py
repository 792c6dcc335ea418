"""Where a profile comes from, what it rests on, and whether it was edited since its digest was made."""

from __future__ import annotations

from usbwatch.model import Basis, Profile
from usbwatch.profile.digest import short
from usbwatch.show.lines import Line, Style
from usbwatch.show.safe import safe
from usbwatch.show.ticket import labelled
from usbwatch.show.words import counted

__all__ = ["basis_words", "digest_words", "origin_lines"]

_SET_IN, _COLUMN = 2, 8
_EDITED = ", edited since it was made (usbwatch profile add makes it anew)"


def origin_lines(profile: Profile, origin: str) -> list[Line]:
    """What is known of it, a labelled line each; nothing for what the profile does not tell."""
    basis, digest = basis_words(profile.basis), digest_words(profile)
    style = Style.CAUTION if profile.edited else Style.FAINT
    return [
        *labelled("from", [safe(origin)] if origin else [], _SET_IN, column=_COLUMN),
        *labelled("basis", [basis] if basis else [], _SET_IN, column=_COLUMN),
        *labelled("digest", [digest] if digest else [], _SET_IN, style, column=_COLUMN),
    ]


def basis_words(basis: Basis) -> str:
    """``drafted from 1 capture of 1 unit, 2026-03-02``; "" where nothing is told."""
    counts = [
        counted(number, word)
        for number, word in ((basis.captures, "capture"), (basis.units, "unit"))
        if number is not None
    ]
    days = " to ".join(dict.fromkeys(safe(day, 10) for day in (basis.since, basis.until) if day))
    said = " ".join(filter(None, (safe(basis.how, 20), "from" if basis.how and counts else "", " of ".join(counts))))
    layout = f"layout {safe(basis.layout, 60)}" if basis.layout else ""
    return ", ".join(filter(None, (said, days, layout)))


def digest_words(profile: Profile) -> str:
    """The beginning of the digest, and whether the profile was edited since; "" where it has none."""
    if not profile.digest:
        return ""
    return safe(short(profile.digest), 20) + (_EDITED if profile.edited else "")
