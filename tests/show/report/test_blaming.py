"""What a report says of the likeliest cause: never more than the way of failing that it names."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from support.fleets import lost

from usbwatch.capture import load
from usbwatch.cli.weighing import weighed
from usbwatch.model import Capture
from usbwatch.profile import find
from usbwatch.show import Seen
from usbwatch.show.report.blaming import cause

_CAPTURES = Path(__file__).parents[3] / "captures"
_KEYBOARD = "pci0000:00/14.0/usb2/4.1"


def first_reason(capture: Capture) -> str:
    localised, _ = weighed([Seen(capture=capture, steps=(), answers=())], find("fernhill-larch-13"), insisted=False)
    told = cause(localised)
    assert told is not None
    return told.because[0]


def test_one_fault_that_explains_all() -> None:
    said = first_reason(load(str(_CAPTURES / "larch-13-top-case-lost.json")))
    assert said == ("This one fault explains Keyboard, Touchpad, Fingerprint reader and Battery, all that is wrong.")


def test_a_dead_keyboard_explains_no_mute_gauge() -> None:
    """Two faults at once: the headline names one, and the reason the other, too."""
    healthy = load(str(_CAPTURES / "larch-13-healthy.json"))
    broken = load(str(_CAPTURES / "larch-13-top-case-lost.json"))
    supplies = [one for one in broken.nodes if one.bus == "power_supply"]
    mute = replace(healthy, nodes=(*(one for one in healthy.nodes if one.bus != "power_supply"), *supplies))
    said = first_reason(lost(mute, _KEYBOARD))
    assert said.startswith("Together with another fault (")
    assert said.endswith("it explains Keyboard and Battery, all that is wrong.")
