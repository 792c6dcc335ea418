"""One shape per state, as SVG within a field of 16 by 16: told apart without colour, and in any grey."""

from __future__ import annotations

from usbwatch.model import Verdict
from usbwatch.show.verdict import Outcome

__all__ = ["OUTCOME_SHAPES", "SHAPES", "TONES"]

_CHECK = '<circle class="open" cx="8" cy="8" r="6.6"/><path class="pen" d="M4.8 8.2l2.3 2.4 4.2-5"/>'
_CROSS = (
    '<rect class="full" x="1" y="1" width="14" height="14"/><path class="cut" d="M4.6 4.6l6.8 6.8M11.4 4.6l-6.8 6.8"/>'
)
_QUESTION = (
    '<circle class="open dashed" cx="8" cy="8" r="6.6"/>'
    '<path class="pen" d="M5.9 6.4a2.1 2.1 0 1 1 3 1.9q-.9.5-.9 1.3M8 11.5v.6"/>'
)

SHAPES = {
    Verdict.PRESENT: _CHECK,
    Verdict.MISSING: _CROSS,
    Verdict.IMPAIRED: '<path class="full" d="M8 .8L15.6 15H.4z"/><path class="cut" d="M8 5.6v4.6M8 12v1.2"/>',
    Verdict.UNSEEN: _QUESTION,
    Verdict.SUBSTITUTED: (
        '<path class="open" d="M8 .9L15.1 8 8 15.1.9 8z"/><path class="pen" d="M5 6.6h6M5 9.4h6M9.6 4.6L6.4 11.4"/>'
    ),
    Verdict.MOVED: '<path class="full" d="M.8 4.5h7.4V1l7 7-7 7v-3.5H.8z"/>',
}
"""A ring with a tick, a filled square with a cross, a filled triangle, a dashed ring, a diamond, an arrow."""

TONES = {
    Verdict.PRESENT: "fine",
    Verdict.MISSING: "wrong",
    Verdict.IMPAIRED: "wrong",
    Verdict.UNSEEN: "unseen",
    Verdict.SUBSTITUTED: "wrong",
    Verdict.MOVED: "wrong",
}
"""The class that gives a state its tone."""

OUTCOME_SHAPES = {
    Outcome.WHOLE: ("fine", _CHECK),
    Outcome.WRONG: ("wrong", _CROSS),
    Outcome.NOT_ALL_SEEN: ("unseen", _QUESTION),
}
"""Tone and shape of the verdict on the whole unit."""
