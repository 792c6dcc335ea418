"""The finding of an expected device for which a node stands.

Each rule looks at one thing that can be wrong with a node that is there, or
at one reason why its being there proves nothing. The first rule that speaks
decides; with none, the device is as far as its rung says.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from usbwatch.capture.log.troubles import HID_FAILED, I2C_HID_FAILED
from usbwatch.compare.battery import battery_finding
from usbwatch.compare.pairing import Fit
from usbwatch.compare.scene import Scene, unseen_because
from usbwatch.model import ExpectedDevice, Finding, Kind, Node, Rung, Symptom, Verdict, hangs_on

__all__ = ["judge"]

_Rule = Callable[[ExpectedDevice, Node, Scene], "Finding | None"]

_DRIVERS_BY_ID = {"PNP0C50": ("i2c_hid_acpi", "i2c_hid"), "ACPI0C50": ("i2c_hid_acpi", "i2c_hid")}
"""Firmware ids whose driver is known (drivers/hid/i2c-hid/i2c-hid-acpi.c)."""


def judge(device: ExpectedDevice, node: Node, fit: int, scene: Scene) -> Finding:
    """What became of ``device``, given the node that stands for it and how it fits.

    Nothing is held against a device of which part could not be read.
    """
    finding = _judged(device, node, fit, scene)
    if finding.verdict in (Verdict.PRESENT, Verdict.UNSEEN):
        return finding
    unread = scene.unread(node)
    if unread:
        reason = f"{unread} of its files could not be read, so what they would say is not known"
        return replace(_unseen(device, node, reason, "capture again as root, or copy again"), rung=node.rung)
    coverage = scene.coverage.get(node.bus)
    if coverage is not None and not coverage.state.seen:
        return replace(_unseen(device, node, *unseen_because(coverage, node.bus)), rung=node.rung)
    return finding


def _judged(device: ExpectedDevice, node: Node, fit: int, scene: Scene) -> Finding:
    for rule in _RULES:
        finding = rule(device, node, scene)
        if finding is not None:
            return finding
    if fit == Fit.FUNCTION_SOMEWHERE:
        return _somewhere(device, node)
    if not node.rung.reaches(device.reaches):
        return _work_unseen(device, node, scene) or _short(device, node, scene)
    return _with_interruptions(_there(device, node, fit), scene)


def _there(device: ExpectedDevice, node: Node, fit: int) -> Finding:
    verdict, symptom = Verdict.PRESENT, Symptom.WORKING
    reason = f"{_called(node)} at {node.location}, {node.rung.value}"
    if fit == Fit.IDENTITY_ELSEWHERE:
        verdict = Verdict.MOVED
        reason = f"{_called(node)} is at {node.location}, not at {' or '.join(device.locations)}"
    elif fit in (Fit.PLACE_OTHER_IDENTITY, Fit.PLACE_ALONE):
        verdict = Verdict.SUBSTITUTED
        expected = " or ".join(device.identities) or device.function
        reason = f"{_called(node)} stands at {node.location} in place of {expected}"
        # Something else that works there says that the place is alive, but not that this device is.
        symptom = Symptom.WORKING if device.function in node.functions else Symptom.UNSEEN
    return Finding(device=device.id, verdict=verdict, rung=node.rung, symptom=symptom, reasons=(reason,), node=node)


def _called(node: Node) -> str:
    return node.identity or node.name or node.bus


def _impaired(device: ExpectedDevice, node: Node, symptom: Symptom, *reasons: str) -> Finding:
    return Finding(
        device=device.id, verdict=Verdict.IMPAIRED, rung=node.rung, symptom=symptom, reasons=reasons, node=node
    )


def _missing(device: ExpectedDevice, node: Node, *reasons: str) -> Finding:
    return Finding(
        device=device.id, verdict=Verdict.MISSING, rung=node.rung, symptom=Symptom.ABSENT, reasons=reasons, node=node
    )


def _unseen(device: ExpectedDevice, node: Node, reason: str, would_tell: str) -> Finding:
    return Finding(
        device=device.id,
        verdict=Verdict.UNSEEN,
        rung=Rung.ATTACHED,
        symptom=Symptom.UNSEEN,
        reasons=(reason,),
        node=node,
        would_tell=would_tell,
    )


def _somewhere(device: ExpectedDevice, node: Node) -> Finding:
    return _unseen(
        device,
        node,
        f"{_called(node)} at {node.location} does this, but nothing says whether it is inside the unit",
        "unplug your own devices and capture again",
    )


def _ps2_keyboard(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    """On laptops the kernel assumes a PS/2 keyboard without asking it (drivers/input/keyboard/atkbd.c)."""
    if node.bus != "serio" or not node.location.endswith("/kbd") or not device.reaches.reaches(Rung.ADDRESSED):
        return None
    reason = "the kernel assumes a keyboard on this PS/2 port without asking it, so its node proves nothing"
    return replace(_unseen(device, node, reason, "press keys and see whether they arrive"), by_hand_alone=True)


def _empty_ps2_port(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    if node.bus != "serio" or node.rung is not Rung.ABSENT:
        return None
    coverage = scene.coverage.get("serio")
    if coverage is not None and "psmouse" not in coverage.drivers:
        return _unseen(device, node, "the driver psmouse is not loaded, so nobody asked", "load psmouse, capture again")
    return _missing(device, node, "the PS/2 controller has its port, and nothing behind it answered")


def _declared_alone(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    """A lid or power switch has a node because firmware declares it; only moving it proves it."""
    if node.bus != "acpi" or not {"lid", "power-button"} & set(node.functions) or node.rung is Rung.ABSENT:
        return None
    reason = f"firmware declares it ({node.location}); a switch proves itself only when it is moved"
    if not node.rung.reaches(device.reaches):
        return _unseen(device, node, reason, "move the switch and see whether it is noticed")
    return Finding(
        device=device.id,
        verdict=Verdict.PRESENT,
        rung=node.rung,
        symptom=Symptom.UNSEEN,
        reasons=(reason,),
        node=node,
        by_hand_alone=True,
    )


def _silent_client(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """An I2C or SPI client is firmware's declaration until a driver holds it."""
    if node.bus not in ("i2c", "spi") or node.rung.reaches(Rung.ADDRESSED):
        return None
    declared = [other for other in scene.at.get(node.location, ()) if other.bus == "acpi"]
    ids = {node.identity, *(word for other in declared for word in str(other.facts.get("compatible_ids", "")).split())}
    drivers = [driver for identity in ids for driver in _DRIVERS_BY_ID.get(identity, ())]
    loaded = scene.coverage[node.bus].drivers if node.bus in scene.coverage else ()
    if str(node.facts.get("waiting_for_supplier", "0")) == "1":
        reason = f"firmware declares it ({node.location}); it still waits for another device that supplies it"
        return _unseen(device, node, reason, "load that device's driver and capture again")
    if not set(drivers) & set(loaded):
        return _unseen(
            device,
            node,
            f"firmware declares it ({node.location}), but no driver for it is loaded, so nobody asked it",
            f"load {drivers[0]} and capture again" if drivers else "capture with a kernel that has its driver",
        )
    return _missing(
        device,
        node,
        f"firmware declares it ({node.location}) and its driver is loaded, but nothing answered at its address",
    )


def _firmware_alone(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """Firmware names the device, but the bus that it is on shows no client."""
    if node.kind is not Kind.DECLARED or not device.reaches.reaches(Rung.ADDRESSED):
        return None
    if node.rung is Rung.ABSENT and (scene.seen("i2c") or scene.seen("spi")):
        return _missing(device, node, f"firmware says it is not fitted (ACPI status {node.facts.get('status')})")
    unseen = [bus for bus in ("i2c", "spi") if not scene.seen(bus)]
    where = f" ({', '.join(unseen)} could not be seen)" if unseen else ""
    return _unseen(
        device,
        node,
        f"firmware declares it ({node.location}); the kernel made no device of it{where}",
        "capture with a kernel that drives its controller",
    )


def _panel_status(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    """A connector's ``status`` can be hard-wired; only an EDID that was read proves a panel."""
    if node.bus != "drm" or node.rung is not Rung.ATTACHED:
        return None
    return _unseen(
        device,
        node,
        f"connector {node.name} says connected, but no EDID was read; some drivers always say so",
        "look at the screen, or capture with its own graphics driver",
    )


def _slow(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    speed = node.facts.get("speed_kbps")
    if device.speed_mbps is None or not isinstance(speed, int) or speed >= device.speed_mbps * 1000:
        return None
    if not node.rung.reaches(Rung.IDENTIFIED):
        return None
    shown = f"{speed // 1000} Mbit/s" if speed % 1000 == 0 else f"{speed / 1000} Mbit/s"
    return _impaired(
        device, node, Symptom.DEGRADED, f"runs at {shown}; a healthy one runs at {device.speed_mbps} Mbit/s"
    )


_EC_TIMEOUT, _INTERMITTENT = "embedded controller timed out", "intermittent"
"""Troubles of the kernel's log (``usbwatch.capture.log.troubles``)."""


def _embedded_controller_silent(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """Firmware asks the embedded controller for all that it says of a battery (drivers/acpi/acpica/evregion.c)."""
    told = next((episode for episode in scene.capture.episodes if episode.trouble == _EC_TIMEOUT), None)
    if told is None or "battery" not in node.functions:
        return None
    reason = f"the embedded controller did not answer in time (kernel's log, lines: {told.count})"
    unseen = _unseen(
        device,
        node,
        f"{reason}: no reading of the battery can be relied on",
        "shut the unit down, start it and capture again; if it comes again, look at the embedded controller first",
    )
    return replace(unseen, rung=node.rung)


def _with_interruptions(finding: Finding, scene: Scene) -> Finding:
    """The same finding, with what the log tells of a device that is there and has left its place again and again."""
    place = finding.node.location if finding.node is not None else ""
    told = next((one for one in scene.troubles.get(place, ()) if one.trouble == _INTERMITTENT), None)
    if told is None or told.count < 2:  # noqa: PLR2004
        return finding
    seconds = (told.last_us - told.first_us) / (told.count - 1) / 1_000_000
    often = f", about every {seconds:.1f} s" if seconds > 0 else ""
    return replace(finding, reasons=(*finding.reasons, f"it left its place {told.count} times{often} (kernel's log)"))


def _blocked_radio(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A radio that a switch keeps quiet (Documentation/ABI/stable/sysfs-class-rfkill): a cause in software or a key."""
    if not {"bluetooth", "wlan", "wwan"} & set(node.functions):
        return None
    switches = [one for one in scene.capture.nodes if one.bus == "rfkill" and hangs_on(one.location, node.location)]
    for kind, word in (("hard", "by a switch or in firmware"), ("soft", "in software")):
        if any(switch.facts.get(kind) == 1 for switch in switches):
            return _impaired(device, node, Symptom.UNDRIVEN, f"the radio is blocked {word}")
    return None


_RULES: tuple[_Rule, ...] = (
    _ps2_keyboard,
    _empty_ps2_port,
    _declared_alone,
    _embedded_controller_silent,
    battery_finding,
    _silent_client,
    _firmware_alone,
    _panel_status,
    _slow,
    _blocked_radio,
)


_WORK_SHOWS_ON: dict[str, tuple[str, ...]] = {
    "audio": ("sound",),
    "battery": ("power_supply",),
    "bluetooth": ("bluetooth",),
    "camera": ("video",),
    "card-reader": ("block",),
    "disk": ("nvme", "block"),
    "ethernet": ("net",),
    "graphics": ("drm",),
    "keyboard": ("hid", "input"),
    "mains-adapter": ("power_supply",),
    "mouse": ("hid", "input"),
    "pointing-device": ("hid", "input"),
    "pointing-stick": ("hid", "input"),
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
    because, would_tell = unseen_because(scene.coverage.get(blind[0]), blind[0])
    reason = f"it got as far as {node.rung.value}; what became of it could not be seen ({because})"
    return replace(_unseen(device, node, reason, would_tell), rung=node.rung)


_PROBE_FAILED = frozenset({HID_FAILED, I2C_HID_FAILED})
"""Troubles of ``usbwatch.capture.log`` in which a driver was there and the device failed it."""


def _short(device: ExpectedDevice, node: Node, scene: Scene) -> Finding:
    """A device that stopped below the rung that the profile asks."""
    if node.rung is Rung.ABSENT:
        return _missing(device, node, f"{node.location} is there, and nothing on it")
    if node.facts.get("authorized") == 0:
        return _impaired(
            device, node, Symptom.UNDRIVEN, "this system does not authorise it: policy, not a hardware fault"
        )
    probe = next((told for told in scene.troubles.get(node.location, ()) if told.trouble in _PROBE_FAILED), None)
    if probe is not None:
        reason = f"a driver asked it and failed (kernel's log, error {probe.errno}): it does not answer as it should"
        return _impaired(device, node, Symptom.FAILED, reason, *probe.lines[-1:])
    if node.rung in (Rung.CONFIGURED, Rung.BOUND) or (node.rung is Rung.IDENTIFIED and node.bus != "usb"):
        undriven = _undriven(node, scene)
        if undriven:
            return _impaired(device, node, Symptom.UNDRIVEN, undriven)
    defect = node.facts.get("first_descriptor_defect")
    extra = (f"its descriptors are damaged ({defect})",) if defect else ()
    return _impaired(device, node, Symptom.FAILED, f"stopped at {node.rung.value}: {_STOPPED[node.rung]}", *extra)


_STOPPED = {
    Rung.ATTACHED: "something is there and does not answer",
    Rung.ADDRESSED: "it answered, and its identity could not be read",
    Rung.IDENTIFIED: "it was identified, and took no configuration",
    Rung.CONFIGURED: "it took a configuration, and no driver holds it",
    Rung.BOUND: "a driver holds it, and nothing came of it",
    Rung.ABSENT: "nothing is there",
    Rung.WORKING: "it works",
}


def _undriven(node: Node, scene: Scene) -> str:
    """What in and under a node has no driver, as a sentence, or ""."""
    if node.rung is not Rung.BOUND and not node.driver:
        return f"it answered as {_called(node)}, but no driver holds it"
    below = [other for other in scene.capture.nodes if hangs_on(other.location, node.location)]
    idle = [other for other in below if other.kind in (Kind.INTERFACE, Kind.FUNCTION) and other.bus in ("usb", "hid")]
    loose = [other for other in idle if not other.driver and other.functions]
    if loose and node.rung.reaches(Rung.CONFIGURED):
        return f"it answered as {_called(node)}, but no driver holds its {', '.join(loose[0].functions)} part"
    return ""
