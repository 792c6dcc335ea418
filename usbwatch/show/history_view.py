"""The page of ``usbwatch unit history``: how a shop's units of one model fared, and what that changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import log

from usbwatch.casebook.experience import EndingCount, Fared
from usbwatch.localise.sites import sites
from usbwatch.model import Experience, Grounds, Money, Profile
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading
from usbwatch.show.words import counted, small_percent, sum_of

__all__ = ["history_document", "history_view", "models_document", "models_view"]

_MOST = 8
"""Priors that are named: those that moved the most."""


def models_view(models: Sequence[tuple[str, int, int]]) -> list[Line]:
    """A line per model: its id, closed cases, and units on the bench."""
    if not models:
        return [line("No unit of a known model.")]
    column = max(len(safe(model, 60)) for model, _, _ in models) + 2
    return [
        line(
            (safe(model, 60).ljust(column), Style.STRONG),
            f"{counted(closed, 'closed case')}, {waiting} on the bench",
            hang=column,
        )
        for model, closed, waiting in models
    ]


def models_document(models: Sequence[tuple[str, int, int]]) -> dict[str, Json]:
    """The same as ``usbwatch-history-list``."""
    listed: list[Json] = [{"model": name, "closed": closed, "on_the_bench": on} for name, closed, on in models]
    return {"format": "usbwatch-history-list", "schema": 1, "models": listed}


def history_view(fared: Fared, experience: Experience, grounds: Mapping[str, Grounds], profile: Profile) -> list[Line]:
    """How units of the model left, what had failed, and how far the priors moved by it."""
    closed = sum(one.cases for one in fared.endings)
    return [
        line(
            (safe(profile.id, 60), Style.STRONG),
            f": {counted(closed, 'closed case')}, {fared.on_the_bench} on the bench",
        ),
        *(one for ending in fared.endings for one in _ending_lines(ending, profile.money)),
        *_cause_lines(fared, closed, profile),
        *_prior_lines(grounds, experience, profile),
    ]


def _ending_lines(ending: EndingCount, money: Money) -> list[Line]:
    lines = [line("  ", f"{ending.cases:>4}  ", (ending.ending, Style.STRONG), hang=8)]
    if ending.priced:
        each = [round(one / ending.priced) for one in (ending.brought, ending.spent, ending.minutes)]
        of = "" if ending.priced == ending.cases else f" (of {ending.priced} with a price)"
        said = (
            f"brought {sum_of(each[0], money)} on average{of}, after {sum_of(each[1], money)} spent and {each[2]} min"
        )
        lines.append(line(" " * 8, (said, Style.FAINT), hang=8))
    return lines


def _cause_lines(fared: Fared, closed: int, profile: Profile) -> list[Line]:
    if not closed:
        return []
    known = f"{fared.known} of {counted(closed, 'case')} with a known cause"
    if not fared.known:
        return [BLANK, line(f"No cause is known of any of them. {_TELL}", hang=2)]
    names = _names(profile)
    found = [
        line(f"{count:>6}  ", names.get(site, safe(site, 100)), (f"  {safe(site, 100)}", Style.FAINT), hang=8)
        for site, count in fared.causes
    ]
    return [*heading("What had failed"), line(("  " + known, Style.FAINT), hang=2), *found]


_TELL = "Say it when a unit is closed (--cause), or amend the closing; every fault that was found counts."


def _names(profile: Profile) -> dict[str, str]:
    return {site.id: safe(site.name, 120) for site in sites(profile)}


def _prior_lines(grounds: Mapping[str, Grounds], experience: Experience, profile: Profile) -> list[Line]:
    moved = sorted((one for one in grounds.values() if one.counted and _shows(one)), key=_moved, reverse=True)
    if not any(one.counted for one in grounds.values()):
        said = "Priors are as elicited, without a source: no closed case with a known cause stands behind them yet."
        return [BLANK, line((said, Style.FAINT), hang=2)]
    names = _names(profile)
    origins = {site.id: site.origin for site in sites(profile, experience)}
    rest = len(moved) - _MOST
    return [
        *heading("What that changes: the chance of each failure before looking"),
        *(one for each in moved[:_MOST] for one in _prior(each, names, origins)),
        *([line(f"  and {rest} more, by less", hang=2)] if rest > 0 else []),
    ]


def _shows(one: Grounds) -> bool:
    """Whether the figures that are shown differ at all."""
    return small_percent(one.starting * one.weight) != small_percent(one.prior)


def _moved(one: Grounds) -> float:
    return abs(log(one.prior / max(one.starting * one.weight, 1e-9)))


def _prior(one: Grounds, names: Mapping[str, str], origins: Mapping[str, str]) -> list[Line]:
    start, now = small_percent(one.starting * one.weight), small_percent(one.prior)
    return [
        line(f"{start:>8} to {now:<8}", (names.get(one.site, one.site), Style.STRONG), hang=20),
        line(" " * 20, (safe(origins.get(one.site, ""), 300), Style.FAINT), hang=20),
    ]


def history_document(
    fared: Fared, experience: Experience, grounds: Mapping[str, Grounds], profile: Profile
) -> dict[str, Json]:
    """The same as ``usbwatch-history``."""
    return {
        "format": "usbwatch-history",
        "schema": 1,
        "model": profile.id,
        "on_the_bench": fared.on_the_bench,
        "endings": plain_value(fared.endings),
        "known_causes": fared.known,
        "causes": [{"site": site, "cases": count} for site, count in fared.causes],
        "cases_of_other_models": experience.cases,
        "priors": [plain_value(one) for one in grounds.values()],
    }
