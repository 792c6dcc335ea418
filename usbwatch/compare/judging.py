"""The finding of an expected device for which a node stands.

Each rule looks at one thing that can be wrong with a node that is there, or
at one reason why its being there proves nothing. The first rule that speaks
decides; with none, the device is as far as its rung says.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from usbwatch.compare.bare_list import as_far_as_listed, charge_alone, with_limits
from usbwatch.compare.battery import battery_finding
from usbwatch.compare.by_hand import by_hand
from usbwatch.compare.fans import fan_finding
from usbwatch.compare.intermittence import fault_by_log
from usbwatch.compare.links import degraded_link, with_narrow_link
from usbwatch.compare.over_current import with_over_current
from usbwatch.compare.pairing import Fit
from usbwatch.compare.scene import Scene, unseen_because
from usbwatch.compare.speed import at_usb2_twin, fell_back, slow
from usbwatch.compare.undriven import blocked_radio, empty_ps2_port, short, silent_client
from usbwatch.compare.verdicts import called, missing, unseen
from usbwatch.model import ExpectedDevice, Finding, Kind, Node, Rung, Symptom, Verdict

__all__ = ["judge"]

_Rule = Callable[[ExpectedDevice, Node, Scene], "Finding | None"]


def judge(device: ExpectedDevice, node: Node, fit: int, scene: Scene) -> Finding:
    """What became of ``device``, given the node that stands for it and how it fits.

    Nothing is held against a device of which part could not be read.
    """
    finding = with_over_current(_judged(device, node, fit, scene), scene)
    if finding.verdict in (Verdict.PRESENT, Verdict.UNSEEN):
        return finding
    unread = scene.unread(node)
    if unread:
        reason = f"{unread} of its files could not be read, so what they would say is not known"
        return replace(unseen(device, node, reason, "capture again as root, or copy again"), rung=node.rung)
    coverage = scene.coverage.get(node.bus)
    if coverage is not None and not coverage.state.seen:
        return replace(unseen(device, node, *unseen_because(scene, node.bus)), rung=node.rung)
    return finding


def _judged(device: ExpectedDevice, node: Node, fit: int, scene: Scene) -> Finding:
    for rule in _RULES:
        finding = rule(device, node, scene)
        if finding is not None:
            return finding
    if fit == Fit.FUNCTION_SOMEWHERE:
        return _somewhere(device, node)
    if not node.rung.reaches(device.reaches) and not as_far_as_listed(node, scene):
        return _work_unseen(device, node, scene) or short(device, node, scene)
    there = with_narrow_link(_there(device, node, fit), device, scene)
    return with_limits(_with_interruptions(there, device, scene), device, scene)


def _there(device: ExpectedDevice, node: Node, fit: int) -> Finding:
    verdict, symptom = Verdict.PRESENT, Symptom.WORKING
    reason = f"{called(node)} at {node.location}, {node.rung.value}"
    if fit == Fit.IDENTITY_ELSEWHERE:
        verdict = Verdict.MOVED
        reason = f"{called(node)} is at {node.location}, not at {' or '.join(device.locations)}"
    elif fit in (Fit.PLACE_OTHER_IDENTITY, Fit.PLACE_ALONE):
        verdict = Verdict.SUBSTITUTED
        expected = " or ".join(device.identities) or device.function
        reason = f"{called(node)} stands at {node.location} in place of {expected}"
        # Something else that works there says that the place is alive, but not that this device is.
        symptom = Symptom.WORKING if device.function in node.functions else Symptom.UNSEEN
    return Finding(device=device.id, verdict=verdict, rung=node.rung, symptom=symptom, reasons=(reason,), node=node)


def _somewhere(device: ExpectedDevice, node: Node) -> Finding:
    return unseen(
        device,
        node,
        f"{called(node)} at {node.location} does this, but nothing says whether it is inside the unit",
        "unplug your own devices and capture again",
    )


def _ps2_keyboard(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    """On laptops the kernel assumes a PS/2 keyboard without asking it (drivers/input/keyboard/atkbd.c)."""
    if node.bus != "serio" or not node.location.endswith("/kbd") or not device.reaches.reaches(Rung.ADDRESSED):
        return None
    reason = "the kernel assumes a keyboard on this PS/2 port without asking it, so its node proves nothing"
    return replace(unseen(device, node, reason, "run usbwatch handcheck keyboard on the unit"), by_hand_alone=True)


def _declared_alone(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    """A lid or power switch has a node because firmware declares it; only moving it proves it."""
    if node.bus != "acpi" or not {"lid", "power-button"} & set(node.functions) or node.rung is Rung.ABSENT:
        return None
    reason = f"firmware declares it ({node.location}); a switch proves itself only when it is moved"
    if not node.rung.reaches(device.reaches):
        return unseen(device, node, reason, "move the switch and see whether it is noticed")
    return Finding(
        device=device.id,
        verdict=Verdict.PRESENT,
        rung=node.rung,
        symptom=Symptom.UNSEEN,
        reasons=(reason,),
        node=node,
        by_hand_alone=True,
    )


def _firmware_alone(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """Firmware names the device, but the bus that it is on shows no client."""
    if node.kind is not Kind.DECLARED or not device.reaches.reaches(Rung.ADDRESSED):
        return None
    if node.rung is Rung.ABSENT and (scene.seen("i2c") or scene.seen("spi")):
        return missing(device, node, f"firmware says it is not fitted (ACPI status {node.facts.get('status')})")
    blind = [bus for bus in ("i2c", "spi") if not scene.seen(bus)]
    where = f" ({', '.join(blind)} could not be seen)" if blind else ""
    return unseen(
        device,
        node,
        f"firmware declares it ({node.location}); the kernel made no device of it{where}",
        "capture with a kernel that drives its controller",
    )


def _panel_status(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    """A connector's ``status`` can be hard-wired; only an EDID that was read proves a panel."""
    if node.bus != "drm" or node.rung is not Rung.ATTACHED:
        return None
    return unseen(
        device,
        node,
        f"connector {node.name} says connected, but no EDID was read; some drivers always say so",
        "look at the screen, or capture with its own graphics driver",
    )


_EC_TIMEOUT, _INTERMITTENT = "embedded controller timed out", "intermittent"
"""Troubles of the kernel's log (``usbwatch.capture.log.troubles``)."""


def _embedded_controller_silent(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """Firmware asks the embedded controller for all that it says of a battery (drivers/acpi/acpica/evregion.c)."""
    told = next((episode for episode in scene.capture.episodes if episode.trouble == _EC_TIMEOUT), None)
    if told is None or "battery" not in node.functions:
        return None
    reason = f"the embedded controller did not answer in time (kernel's log, lines: {told.count})"
    without_reading = unseen(
        device,
        node,
        f"{reason}: no reading of the battery can be relied on",
        "shut the unit down, start it and capture again; if it comes again, look at the embedded controller first",
    )
    return replace(without_reading, rung=node.rung)


def _with_interruptions(finding: Finding, device: ExpectedDevice, scene: Scene) -> Finding:
    """The same finding, with what the log tells of a device that is there and has left its place again and again."""
    place = finding.node.location if finding.node is not None else ""
    told = next((one for one in scene.troubles.get(place, ()) if one.trouble == _INTERMITTENT), None)
    if told is None or told.count < 2:  # noqa: PLR2004
        return finding
    seconds = (told.last_us - told.first_us) / (told.count - 1) / 1_000_000
    often = f", about every {seconds:.1f} s" if seconds > 0 else ""
    reason = f"it left its place {told.count} times{often} (kernel's log)"
    if not fault_by_log(told, device, place, scene):
        return replace(finding, reasons=(*finding.reasons, reason))
    said = f"{reason}; taken off and on with power, it would look the same"
    verdict = Verdict.IMPAIRED if finding.verdict is Verdict.PRESENT else finding.verdict
    return replace(finding, verdict=verdict, symptom=Symptom.INTERMITTENT, reasons=(said, *finding.reasons))


_RULES: tuple[_Rule, ...] = (
    by_hand,
    _ps2_keyboard,
    empty_ps2_port,
    _declared_alone,
    _embedded_controller_silent,
    charge_alone,
    battery_finding,
    fan_finding,
    silent_client,
    _firmware_alone,
    _panel_status,
    at_usb2_twin,
    fell_back,
    slow,
    degraded_link,
    blocked_radio,
)


_WORK_SHOWS_ON: dict[str, tuple[str, ...]] = {
    "audio": ("sound",),
    "battery": ("power_supply",),
    "bluetooth": ("bluetooth",),
    "camera": ("video",),
    "card-reader": ("block",),
    "disk": ("nvme", "block"),
    "ethernet": ("net",),
    "fan": ("hwmon", "thermal"),
    "graphics": ("drm",),
    "keyboard": ("hid", "input"),
    "mains-adapter": ("power_supply",),
    "mouse": ("hid", "input"),
    "pointing-device": ("hid", "input"),
    "pointing-stick": ("hid", "input"),
    "sensor": ("iio",),
    "storage": ("block",),
    "touchpad": ("hid", "input"),
    "touchscreen": ("hid", "input"),
    "wlan": ("net",),
    "wwan": ("net",),
}
"""Where the kernel shows what it made of a device with a function: unseen, nothing is known of its work."""


def _work_unseen(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A device that got as far as could be seen; the class that shows its work was not."""
    blind = [bus for bus in _WORK_SHOWS_ON.get(device.function, ()) if not scene.seen(bus)]
    far_enough = node.rung is Rung.BOUND or (node.bus == "acpi" and node.rung is Rung.ATTACHED)
    if not blind or not far_enough:
        return None
    because, would_tell = unseen_because(scene, blind[0])
    reason = f"it got as far as {node.rung.value}; what became of it could not be seen ({because})"
    return replace(unseen(device, node, reason, would_tell), rung=node.rung)
