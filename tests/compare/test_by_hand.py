"""What a watched hand check says of an expected device: a table of truths, on two invented units.

That a PS/2 keyboard is assumed by the kernel is from drivers/input/keyboard/atkbd.c,
that a lid switch is firmware's word from drivers/acpi/button.c. What silence
means where a device has enumerated is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import BuiltTree
from support.looking import look
from support.units import HERON, LARCH

from usbwatch.capture import to_json
from usbwatch.capture.saved import parse
from usbwatch.compare import findings
from usbwatch.localise import suspects
from usbwatch.model import Deed, Finding, Observation, Response, Rung, Symptom, Verdict
from usbwatch.profile import find

HERON_PROFILE, LARCH_PROFILE = find("brackwell-heron-14"), find("fernhill-larch-13")

KEYBOARD = "platform/i8042/kbd/input"
LARCH_KEYBOARD = "pci0000:00/14.0/usb2/4.1/if0/hid/input"
LARCH_TOUCHPAD = "pci0000:00/14.0/usb2/4.2/if0/hid/input"
HELPER = "pci0000:00/14.0/usb2/1/if0/hid/input"
AC = "acpi/_SB_.AC0_/power_supply"


def answered(function: str, deed: Deed, location: str, events: int = 3) -> Observation:
    return Observation(
        function=function,
        deed=deed,
        response=Response.ANSWERED,
        watched=(location,),
        location=location,
        after_ms=1234,
        events=events,
        letters=events if deed is Deed.PRESS else 0,
    )


def silent(function: str, deed: Deed, *watched: str) -> Observation:
    return Observation(function=function, deed=deed, response=Response.SILENT, watched=watched)


def not_done(function: str, deed: Deed, *watched: str) -> Observation:
    return replace(silent(function, deed, *watched), response=Response.NOT_DONE)


def found(built_tree: BuiltTree, device: str, *observations: Observation) -> Finding:
    """The finding of a device of the unit that has it, healthy in all that enumerates."""
    heron = device in ("keyboard", "lid", "touchscreen")
    capture = look(built_tree(HERON if heron else LARCH))
    profile = HERON_PROFILE if heron else LARCH_PROFILE
    return findings(replace(capture, observations=observations), profile).of(device.removeprefix("usb-"))


UNSEEN = (Verdict.UNSEEN, Symptom.UNSEEN)
DECLARED = (Verdict.PRESENT, Symptom.UNSEEN)
WELL = (Verdict.PRESENT, Symptom.WORKING)
ABSENT = (Verdict.MISSING, Symptom.ABSENT)
MUTE = (Verdict.IMPAIRED, Symptom.MUTE)
POOR = (Verdict.IMPAIRED, Symptom.DEGRADED)

PRESSED = answered("keyboard", Deed.PRESS, KEYBOARD)
HOT_KEYS = replace(PRESSED, letters=0)
NOTHING_PRESSED = silent("keyboard", Deed.PRESS, KEYBOARD)
NEIGHBOUR = "pci0000:00/14.0/usb2/4.11/if0/hid/input"
MOVED = answered("touchpad", Deed.MOVE, LARCH_TOUCHPAD)
LID = "acpi/_SB_.LID0/input"

TRUTHS: dict[str, tuple[str, tuple[Observation, ...], tuple[Verdict, Symptom]]] = {
    "PS/2 keyboard, nobody tried": ("keyboard", (), UNSEEN),
    "PS/2 keyboard answers": ("keyboard", (PRESSED,), WELL),
    "PS/2 keyboard is silent": ("keyboard", (NOTHING_PRESSED,), ABSENT),
    "PS/2 keyboard, not done": ("keyboard", (not_done("keyboard", Deed.PRESS, KEYBOARD),), UNSEEN),
    "a helper keyboard answers": ("keyboard", (answered("keyboard", Deed.PRESS, HELPER),), UNSEEN),
    "silent, but only a helper was listened to": ("keyboard", (silent("keyboard", Deed.PRESS, HELPER),), UNSEEN),
    "silent, and after reseating it answers": ("keyboard", (NOTHING_PRESSED, PRESSED), WELL),
    "answered, and silent since": ("keyboard", (PRESSED, NOTHING_PRESSED), ABSENT),
    "silent, then not done": (
        "keyboard",
        (NOTHING_PRESSED, not_done("keyboard", Deed.PRESS, KEYBOARD)),
        ABSENT,
    ),
    "hot keys alone, which come through the same port": ("keyboard", (HOT_KEYS,), UNSEEN),
    "silent, and hot keys since": ("keyboard", (NOTHING_PRESSED, HOT_KEYS), ABSENT),
    "Shift alone": ("keyboard", (replace(HOT_KEYS, modifiers=1),), WELL),
    "lid, nobody tried": ("lid", (), DECLARED),
    "lid answers": ("lid", (answered("lid", Deed.CLOSE, LID),), WELL),
    "lid is silent": ("lid", (silent("lid", Deed.CLOSE, LID),), ABSENT),
    "the keyboard's silence says nothing of the lid": ("lid", (silent("keyboard", Deed.PRESS, LID),), DECLARED),
    "USB keyboard answers": ("usb-keyboard", (answered("keyboard", Deed.PRESS, LARCH_KEYBOARD),), WELL),
    "USB keyboard is silent": ("usb-keyboard", (silent("keyboard", Deed.PRESS, LARCH_KEYBOARD),), MUTE),
    "touchpad moves and does not click": (
        "touchpad",
        (answered("touchpad", Deed.MOVE, LARCH_TOUCHPAD), silent("touchpad", Deed.CLICK, LARCH_TOUCHPAD)),
        POOR,
    ),
    "touchpad asked for as any pointing device": (
        "touchpad",
        (silent("pointing-device", Deed.MOVE, LARCH_TOUCHPAD),),
        MUTE,
    ),
    "the stick's silence says nothing of the touchpad": (
        "touchpad",
        (silent("pointing-stick", Deed.MOVE, LARCH_TOUCHPAD),),
        WELL,
    ),
    "a mouse that moves says nothing of the touchpad": (
        "touchpad",
        (silent("touchpad", Deed.MOVE, LARCH_TOUCHPAD), answered("mouse", Deed.MOVE, LARCH_TOUCHPAD)),
        MUTE,
    ),
    "its own function outranks any pointing device": (
        "touchpad",
        (MOVED, silent("pointing-device", Deed.MOVE, LARCH_TOUCHPAD)),
        WELL,
    ),
    "port 4.11 is not in port 4.1": ("usb-keyboard", (silent("keyboard", Deed.PRESS, NEIGHBOUR),), WELL),
    "charger pulled and not missed": ("mains-adapter", (silent("mains-adapter", Deed.PULL, AC),), MUTE),
    "charger plugged in and not noticed: perhaps it is the charger": (
        "mains-adapter",
        (silent("mains-adapter", Deed.PLUG, AC),),
        WELL,
    ),
}


@pytest.mark.parametrize(("device", "observations", "truth"), TRUTHS.values(), ids=TRUTHS)
def test_what_an_observation_says(
    built_tree: BuiltTree, device: str, observations: tuple[Observation, ...], truth: tuple[Verdict, Symptom]
) -> None:
    finding = found(built_tree, device, *observations)
    assert (finding.verdict, finding.symptom) == truth


def test_the_reason_names_the_observation(built_tree: BuiltTree) -> None:
    assert found(built_tree, "keyboard", PRESSED).reasons == (
        "answered a key press after 1.2 s (3 events, hand check)",
    )
    assert found(built_tree, "keyboard", PRESSED).rung is Rung.WORKING
    assert found(built_tree, "keyboard", NOTHING_PRESSED).reasons == (
        "keys were pressed (hand check), and no event came of it",
    )
    mute = found(built_tree, "usb-keyboard", silent("keyboard", Deed.PRESS, LARCH_KEYBOARD))
    assert mute.reasons == ("it enumerates, but keys were pressed (hand check) and no event came of it",)


def test_a_silent_keyboard_is_evidence_for_the_localiser(built_tree: BuiltTree) -> None:
    capture = look(built_tree(HERON))
    before = suspects(findings(capture, HERON_PROFILE), HERON_PROFILE)
    after = suspects(findings(replace(capture, observations=(NOTHING_PRESSED,)), HERON_PROFILE), HERON_PROFILE)
    assert before.nothing_wrong > 0.5
    assert after.nothing_wrong < 0.1
    assert {one.part for one in after.parts[:2]} == {"keyboard-flex", "keyboard-module"}


def test_observations_are_kept_in_the_file(built_tree: BuiltTree) -> None:
    capture = replace(look(built_tree(HERON)), observations=(PRESSED, silent("lid", Deed.CLOSE, LID)))
    assert parse(to_json(capture).encode(), "a test") == capture


def test_a_keyboard_that_did_not_enumerate_is_not_called_mute(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH))
    place = LARCH_KEYBOARD.partition("/if0")[0]
    nodes = tuple(
        replace(node, rung=Rung.IDENTIFIED) if (node.bus, node.location) == ("usb", place) else node
        for node in capture.nodes
    )
    stuck = replace(capture, nodes=nodes, observations=(silent("keyboard", Deed.PRESS, LARCH_KEYBOARD),))
    finding = findings(stuck, LARCH_PROFILE).of("keyboard")
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.FAILED)


def test_a_silent_ps2_keyboard_may_be_one_that_a_program_grabbed(built_tree: BuiltTree) -> None:
    """``EVIOCGRAB``: ``evdev_grab`` in drivers/input/evdev.c."""
    assert (
        found(built_tree, "keyboard", NOTHING_PRESSED).software == "a program that grabbed the keyboard looks the same"
    )
    assert found(built_tree, "lid", silent("lid", Deed.CLOSE, LID)).software == ""
