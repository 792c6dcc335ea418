"""The last line of every page: which keys there are."""

from __future__ import annotations

from usbwatch.show.lines import Line, Style, cells, line

__all__ = [
    "ANSWER",
    "CAPTURE",
    "DETAILS",
    "HANDCHECK",
    "KEYS",
    "LABEL",
    "OFF",
    "PROFILE",
    "WATCH",
    "foot_lines",
    "keys_words",
]

DETAILS, HANDCHECK, CAPTURE, WATCH, PROFILE, LABEL, ANSWER, OFF = "m", "h", "c", "w", "p", "l", "a", "o"

KEYS = {
    DETAILS: ("more", "more"),
    HANDCHECK: ("hand checks", "hand"),
    CAPTURE: ("capture again", "capture"),
    ANSWER: ("answer", "answer"),
    WATCH: ("watch", "watch"),
    PROFILE: ("profile", "profile"),
    LABEL: ("label", "label"),
    OFF: ("power off", "off"),
}
"""By key, what it does, in full and in short."""

_NO_HELPER = (
    "Plug in a helper keyboard (USB) for hand checks, watch, another capture, details, power off.",
    "Plug in a USB keyboard for more or power off.",
)
_SHORTEST = "m more and all keys  c capture again  o off"


def keys_words(*, short: bool = False) -> str:
    """All keys with what they do."""
    return "  ".join(f"{key} {names[short]}" for key, names in KEYS.items())


def foot_lines(width: int, *, keys: bool) -> list[Line]:
    """One line: the fullest wording that fits."""
    wordings = (keys_words(), keys_words(short=True), _SHORTEST) if keys else _NO_HELPER
    return [line((next((one for one in wordings if cells(one) <= width), wordings[-1]), Style.FAINT))]
