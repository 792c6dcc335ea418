"""Signs of a person's doing in the event stream of an input node: bytes in, values out.

``struct input_event`` is from include/uapi/linux/input.h, the types and codes
from include/uapi/linux/input-event-codes.h. Which letter was pressed goes no
further than this module.
"""

from __future__ import annotations

import struct
from enum import Enum
from typing import Optional, Tuple

__all__ = ["LARGEST_EVENT", "NATIVE_LONG", "Sign", "signs_in"]


class Sign(Enum):
    """What one event says of what a person did."""

    LETTER = "letter"
    MODIFIER = "modifier"
    KEY = "key"
    """Any other key of a keyboard."""
    BUTTON = "button"
    """A button of a mouse, touchpad or stick."""
    MOTION = "motion"
    TOUCH = "touch"
    """A finger or pen came down."""
    LID = "lid"
    """The lid switch went over, either way."""
    OFFLINE = "offline"
    """A supply lost its source."""
    ONLINE = "online"


NATIVE_LONG = struct.calcsize("@l")
"""Bytes of this program's own ``long``: the kernel writes the two times of an event in it, whatever its own is."""

_FORMS = {size: struct.Struct(form) for size, form in ((4, "=iiHHi"), (8, "=qqHHi"))}
"""Seconds, microseconds, type, code, value, by the bytes of a ``long``; no padding in either."""

LARGEST_EVENT = 24
"""Bytes of one event where a ``long`` has 8."""

_EV_KEY, _EV_REL, _EV_ABS, _EV_SW = 1, 2, 3, 5
_PRESSED = 1
"""Value of a key event: 0 released, 1 pressed, 2 repeated by the kernel without anybody's doing."""
_SW_LID = 0
_BTN_MISC, _KEY_OK = 0x100, 0x160
"""Codes from the first up to the second are buttons, not keys."""
_BUTTONS = range(0x110, 0x118)
_TOOLS = range(0x140, 0x150)
_LETTERS = frozenset({*range(16, 26), *range(30, 39), *range(44, 51)})
"""KEY_Q to KEY_P, KEY_A to KEY_L, KEY_Z to KEY_M: the three rows, whatever a layout prints on them."""
_MODIFIERS = frozenset({29, 42, 54, 56, 58, 97, 100, 125, 126})
"""Left Ctrl, Shift, right Shift, left Alt, Caps Lock, right Ctrl, right Alt, both Metas."""


def signs_in(data: bytes, long_bytes: int = NATIVE_LONG) -> Tuple[Sign, ...]:
    """The signs in what was read from an input node, in order; events that tell of no deed are left out.

    An event that was cut short at the end is left out, too. Raises nothing for
    anything that ``data`` holds.
    """
    form = _FORMS[long_bytes]
    whole = len(data) - len(data) % form.size
    found = (_sign(kind, code, value) for _, _, kind, code, value in form.iter_unpack(data[:whole]))
    return tuple(sign for sign in found if sign is not None)


def _sign(kind: int, code: int, value: int) -> Optional[Sign]:
    if kind == _EV_KEY:
        return _pressed(code) if value == _PRESSED else None
    if kind in (_EV_REL, _EV_ABS):
        return Sign.MOTION
    return Sign.LID if (kind, code) == (_EV_SW, _SW_LID) else None


def _pressed(code: int) -> Optional[Sign]:
    if code in _LETTERS:
        return Sign.LETTER
    if code in _MODIFIERS:
        return Sign.MODIFIER
    if code < _BTN_MISC or code >= _KEY_OK:
        return Sign.KEY
    if code in _TOOLS:
        return Sign.TOUCH
    return Sign.BUTTON if code in _BUTTONS else None
