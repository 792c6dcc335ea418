"""What a hand check that was watched says of an expected device (``usbwatch.model.Observation``).

Three things are kept apart:

* an answer proves a part whose node proves nothing (a PS/2 keyboard, a lid switch);
* silence, when somebody says that it was done and the part's own node was
  listened to, is absence where the node proves nothing, and a mute device
  where the node comes from the device itself;
* "not done" tells nothing.

Of several observations of one deed the last one counts.
"""

from __future__ import annotations

from dataclasses import replace

from usbwatch.compare.scene import Scene
from usbwatch.model import (
    Deed,
    ExpectedDevice,
    Finding,
    Node,
    Observation,
    Response,
    Rung,
    Symptom,
    Verdict,
    hangs_on,
)

__all__ = ["WORDS", "by_hand", "by_hand_only", "observed"]

WORDS: dict[Deed, tuple[str, str]] = {
    Deed.PRESS: ("a key press", "keys were pressed"),
    Deed.MOVE: ("a move", "it was moved"),
    Deed.CLICK: ("a click", "its button was pressed"),
    Deed.TOUCH: ("a touch", "it was touched"),
    Deed.CLOSE: ("the closing of the lid", "the lid was closed"),
    Deed.PULL: ("the pulling of the charger", "the charger was pulled"),
    Deed.PLUG: ("the plugging in of the charger", "the charger was plugged in"),
}
"""Each deed as what is answered, and as what was done."""

_SPEAKS_AGAINST = frozenset(Deed) - {Deed.PLUG}
"""A charger that is not noticed when it is plugged in may be the charger; one that is not missed when pulled is not."""

_ANY_POINTING = "pointing-device"
_POINTING = frozenset({"mouse", _ANY_POINTING, "pointing-stick", "touchpad"})
_GRABBED = "a program that grabbed the keyboard looks the same"
"""``EVIOCGRAB``: ``evdev_grab`` in drivers/input/evdev.c gives the events to one reader alone."""

_ALONE = frozenset({"lid", "power-button"})
"""Functions whose ACPI node is firmware's word alone (drivers/acpi/button.c)."""


def observed(device: ExpectedDevice, node: Node, observations: tuple[Observation, ...]) -> dict[Deed, Observation]:
    """The last telling observation of each deed that was asked of ``device`` and heard at ``node``.

    What was asked of its own function outranks what was asked of any pointing device.
    """
    last: dict[Deed, Observation] = {}
    for one in sorted(observations, key=lambda one: one.function == device.function):
        places = (one.location,) if one.response is Response.ANSWERED else one.watched
        if _is_for(one, device) and _tells(one) and any(_of(node, place) for place in places):
            last[one.deed] = one
    return last


def _is_for(one: Observation, device: ExpectedDevice) -> bool:
    """A stick, a touchpad and a mouse never speak for each other."""
    pair = {one.function, device.function}
    return one.function == device.function or (_ANY_POINTING in pair and pair <= _POINTING)


def _tells(one: Observation) -> bool:
    """Keys alone that are no letters may be hot keys, which come through the same port without a keyboard."""
    if one.response is Response.ANSWERED and one.deed is Deed.PRESS:
        return one.letters + one.modifiers > 0
    return one.response is not Response.NOT_DONE


def _of(node: Node, place: str) -> bool:
    return place == node.location or hangs_on(place, node.location)


def by_hand(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """The finding that an observation settles, None where none does."""
    last = observed(device, node, scene.capture.observations)
    answered = [one for one in last.values() if one.response is Response.ANSWERED]
    silent = [one for one in last.values() if one.response is Response.SILENT and one.deed in _SPEAKS_AGAINST]
    if not answered and not silent:
        return None
    alone = _proves_nothing(node)
    if not silent:
        return _finding(device, node, Verdict.PRESENT, Symptom.WORKING, *map(_told, answered)) if alone else None
    reasons = (*(f"{_silence(one)}, and no event came of it" for one in silent), *map(_told, answered))
    if answered:
        return _finding(device, node, Verdict.IMPAIRED, Symptom.DEGRADED, *reasons)
    if alone:
        absent = _finding(device, node, Verdict.MISSING, Symptom.ABSENT, *reasons)
        return replace(absent, software=_GRABBED) if node.bus == "serio" else absent
    if not node.rung.reaches(Rung.CONFIGURED):
        return None
    reason = f"it enumerates, but {_silence(silent[0])} and no event came of it"
    return _finding(device, node, Verdict.IMPAIRED, Symptom.MUTE, reason, *reasons[1:])


def _proves_nothing(node: Node) -> bool:
    """Whether the kernel makes this node whether or not the part is there."""
    ps2_keyboard = node.bus == "serio" and node.location.endswith("/kbd")
    return ps2_keyboard or (node.bus == "acpi" and bool(_ALONE & set(node.functions)))


def by_hand_only(device: ExpectedDevice) -> bool:
    """Whether a node proves nothing at every place where a profile expects this device."""
    if device.function in _ALONE:
        return all(place.startswith("acpi/") for place in device.locations)
    ps2_keyboard = all(place.startswith("platform/i8042") and place.endswith("/kbd") for place in device.locations)
    return device.locations != () and ps2_keyboard


def _told(one: Observation) -> str:
    events = "1 event" if one.events == 1 else f"{one.events} events"
    return f"answered {WORDS[one.deed][0]} after {one.after_ms / 1000:.1f} s ({events}, hand check)"


def _silence(one: Observation) -> str:
    return f"{WORDS[one.deed][1]} (hand check)"


def _finding(device: ExpectedDevice, node: Node, verdict: Verdict, symptom: Symptom, *reasons: str) -> Finding:
    alone = _proves_nothing(node)
    rung = node.rung if not alone else Rung.WORKING if verdict is Verdict.PRESENT else Rung.ATTACHED
    return Finding(
        device=device.id, verdict=verdict, rung=rung, symptom=symptom, reasons=reasons, node=node, by_hand_alone=alone
    )
