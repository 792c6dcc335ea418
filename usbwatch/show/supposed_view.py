"""How the ranking would move if something were so: before and after, side by side."""

from __future__ import annotations

from usbwatch.model import Suspects
from usbwatch.show.contradictions_view import contradiction_lines
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.localised import Localised, Supposed
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading
from usbwatch.show.words import listed, part_name, percent

__all__ = ["supposed_lines"]

_LEAST = 0.01
"""Parts that are less probable than this both before and after are left out."""

_SAME = 0.005
"""A smaller move is none."""


def supposed_lines(localised: Localised, width: int) -> list[Line]:
    """The section on what is supposed; nothing when nothing is."""
    supposed = localised.supposed
    if supposed is None:
        return []
    said = listed([f"“{safe(one, 120)}”" for one in supposed.suppositions])
    now, then = _chances(localised.checked.suspects), _chances(supposed.suspects)
    parts = sorted({*now, *then}, key=lambda part: (-then.get(part, 0.0), part))
    shown = [part for part in parts if max(now.get(part, 0.0), then.get(part, 0.0)) >= _LEAST]
    return [
        *heading("If it were so"),
        line("  ", (f"supposed: {said}", Style.STRONG), hang=4),
        BLANK,
        line(("     now   then", Style.FAINT)),
        *(_row(part, now.get(part, 0.0), then.get(part, 0.0), localised, width) for part in shown),
        _bare(localised.checked.suspects.nothing_wrong, supposed.suspects.nothing_wrong),
        *_contradicting(supposed, localised),
    ]


def _contradicting(supposed: Supposed, localised: Localised) -> list[Line]:
    """What is supposed, and cannot be so beside the capture or an answer; without what stands above already."""
    checked = localised.checked
    if supposed.findings is None:
        return []
    told = contradiction_lines(checked.findings, checked.profile)
    return [one for one in contradiction_lines(supposed.findings, checked.profile) if one not in told[1:]]


def _chances(suspects: Suspects) -> dict[str, float]:
    return {one.part: one.probability for one in suspects.parts}


def _row(part: str, now: float, then: float, localised: Localised, width: int) -> Line:
    name = part_name(part, localised.checked.profile)
    style = Style.STRONG if abs(then - now) >= _SAME else Style.PLAIN
    return line(f"{percent(now):>8}{percent(then):>7}", "  ", (name, style), hang=min(17, width // 2))


def _bare(now: float, then: float) -> Line:
    return line((f"{percent(now):>8}{percent(then):>7}  nothing that the profile knows", Style.FAINT), hang=17)
