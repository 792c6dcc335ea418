"""What a person did to a unit while it was watched, and which node answered.

Made by ``usbwatch handcheck``. What was typed is never kept: of keys there are
only counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Tuple

__all__ = ["Deed", "Observation", "Response"]


class Deed(Enum):
    """What the person was asked to do."""

    PRESS = "press"
    """Press a few keys."""
    MOVE = "move"
    """Move a finger, the stick or the mouse."""
    CLICK = "click"
    """Press the button of a touchpad, stick or mouse."""
    TOUCH = "touch"
    """Touch the screen."""
    CLOSE = "close"
    """Close the lid and open it again."""
    PULL = "pull"
    """Pull the charger out."""
    PLUG = "plug"
    """Plug the charger in."""


class Response(Enum):
    """What came of it."""

    ANSWERED = "answered"
    """A node that can speak for the part told of it."""
    SILENT = "silent"
    """The person says that it was done, and no node that can speak for the part told of it."""
    NOT_DONE = "not done"
    """The person could not do it, or nobody said that it was done: it tells nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One deed, and the answer to it."""

    function: str
    """The function of the part that was asked for: ``keyboard``, ``lid``, … (``usbwatch.capture.functions``)."""
    deed: Deed
    response: Response
    observed_at: str = ""
    """RFC 3339, UTC."""
    watched: Tuple[str, ...] = ()
    """Locations of the nodes that could speak for the part, sorted: silence tells of these and of no other."""
    location: str = ""
    """Of the node that answered first; "" where none did."""
    name: str = ""
    """What that node calls itself. Never trusted."""
    after_ms: int = 0
    """Milliseconds from the asking to the first event of that node."""
    events: int = 0
    """Events of that node that told of the deed."""
    letters: int = 0
    """Of these, presses of letter keys; which letters is not kept."""
    modifiers: int = 0
    """Of these, presses of Shift, Ctrl, Alt and the like."""
    elsewhere: Tuple[str, ...] = ()
    """Locations of other nodes that told of such a deed, sorted: a helper keyboard proves nothing of the unit's own."""
