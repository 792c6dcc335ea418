"""Internal parts that ACPI objects name, and what the kernel found of each.

Hardware ids: drivers/acpi/{battery,sbs,ac,button}.c and fan.h,
drivers/iio/light/acpi-als.c, drivers/usb/typec/ucsi/ucsi_acpi.c,
drivers/hid/i2c-hid/i2c-hid-acpi.c, drivers/input/serio/i8042-acpipnpio.h.
Firmware often names PS/2 devices that a unit does not have (common practice,
no source): neither being named nor not being found proves anything alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from usbwatch.compare.acpi_status import BATTERY_IN_SLOT, PRESENT, status_phrase
from usbwatch.compare.clients import Asked, asked, is_client, made_for
from usbwatch.compare.scene import Scene, unseen_because
from usbwatch.model import Declaration, DeclaredState, Node, Rung, hangs_on

__all__ = ["acpi_declarations"]

_Judged = tuple[DeclaredState, str, str]
"""The state, what the kernel found, and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Named:
    """A part that a hardware id stands for."""

    what: str
    function: str
    judge: Callable[[Node, Scene], _Judged]
    drivers: tuple[str, ...] = ()
    """Drivers of which one must be loaded before silence means anything."""


def acpi_declarations(scene: Scene) -> Iterator[Declaration]:
    """One declaration for every ACPI object that names an internal part."""
    objects = [node for node in scene.capture.nodes if node.bus == "acpi"]
    has_button = any(node.identity == "PNP0C0C" for node in objects)
    for node in objects:
        named = _named(node)
        if named is not None and not (has_button and node.identity == _FIXED_BUTTON):
            yield _declaration(node, named, scene)


def _named(node: Node) -> _Named | None:
    ids = (node.identity, *str(node.facts.get("compatible_ids", "")).split())
    return next((_NAMED[identity] for identity in ids if identity in _NAMED), None)


def _declaration(node: Node, named: _Named, scene: Scene) -> Declaration:
    state, found, because = _judged(node, named, scene)
    status = status_phrase(node.facts.get("status"), battery=named.function == "battery")
    return Declaration(
        what=named.what,
        state=state,
        said_by=f"ACPI {_called(node)}, {status}",
        where=node.location,
        function=named.function,
        found=found,
        because=because,
    )


def _called(node: Node) -> str:
    """The hardware id, with what it is compatible with where that is what tells the part."""
    compatible = str(node.facts.get("compatible_ids", ""))
    return node.identity if node.identity in _NAMED or not compatible else f"{node.identity} ({compatible})"


_EC_TIMEOUT = "embedded controller timed out"
"""A trouble of the kernel's log (``usbwatch.capture.log.troubles``)."""


def _judged(node: Node, named: _Named, scene: Scene) -> _Judged:
    """What became of the object; nothing is held against what could not be read or asked."""
    status = node.facts.get("status")
    off = isinstance(status, int) and not status & PRESENT
    judged = (DeclaredState.OFF, "", "firmware says that it is not present") if off else named.judge(node, scene)
    if judged[0] not in (DeclaredState.OFF, DeclaredState.NOT_FOUND):
        return judged
    if scene.unread(node):
        return DeclaredState.NOT_SEEN, "", "some of its files could not be read"
    if named.function in ("battery", "mains-adapter") and any(
        episode.trouble == _EC_TIMEOUT for episode in scene.capture.episodes
    ):
        return DeclaredState.NOT_SEEN, "", "the embedded controller, which firmware asks, did not answer in time"
    return judged


def _silent(bus: str, drivers: tuple[str, ...], scene: Scene, because: str) -> _Judged:
    """Not found, unless the bus could not be seen or no driver was there to ask."""
    if not scene.seen(bus):
        return DeclaredState.NOT_SEEN, "", unseen_because(scene, bus)[0]
    if not set(drivers) & set(scene.coverage[bus].drivers):
        return DeclaredState.NOT_SEEN, "", f"no driver for it is loaded ({drivers[0]}), so nobody asked"
    return DeclaredState.NOT_FOUND, "", because


def _supply(node: Node, scene: Scene) -> _Judged:
    """A battery or an adapter: its driver makes a power supply of it."""
    status = node.facts.get("status")
    battery = "battery" in node.functions
    near = [one for one in scene.capture.nodes if one.bus == "power_supply" and hangs_on(one.location, node.location)]
    talking = next((one for one in near if one.rung is Rung.WORKING), None)
    if talking is not None:
        return DeclaredState.FOUND, " ".join(filter(None, (talking.name, talking.identity))), ""
    if battery and isinstance(status, int) and not status & BATTERY_IN_SLOT:
        return DeclaredState.NOT_FOUND, "", "firmware says that its bay is empty"
    if near:
        return DeclaredState.UNPROVEN, near[0].name, "its gauge does not talk"
    if not scene.seen("power_supply"):
        return DeclaredState.NOT_SEEN, "", unseen_because(scene, "power_supply")[0]
    return _silent("acpi", ("battery",) if battery else ("ac",), scene, "the kernel made no power supply of it")


def _on_its_word(node: Node, _scene: Scene) -> _Judged:
    """A part of which the driver's node shows the declaration, not an answer."""
    if node.driver:
        return DeclaredState.UNPROVEN, f"driver {node.driver}", "its driver asks nothing of the part itself"
    return DeclaredState.NOT_SEEN, "", "no driver holds it, so nobody asked"


def _fan(node: Node, scene: Scene) -> _Judged:
    """A fan is proven by a speed that it tells (Documentation/ABI/testing/sysfs-class-hwmon, revolutions a minute)."""
    for chip in scene.capture.nodes:
        if chip.bus == "hwmon" and hangs_on(chip.location, node.location):
            speed = next((one for name, one in chip.facts.items() if _FAN_SPEED.fullmatch(name)), 0)
            if isinstance(speed, int) and speed > 0:
                return DeclaredState.FOUND, f"turns at {speed} a minute", ""
    return _on_its_word(node, scene)


_FAN_SPEED = re.compile(r"fan\d{1,2}_input")


def _hid_client(node: Node, scene: Scene) -> _Judged:
    """A HID device on I2C. Its client is firmware's word until a driver holds it (i2c-hid-core.c)."""
    client = next((one for one in scene.at.get(node.location, ()) if is_client(one)), None)
    if client is None and not scene.seen("i2c"):
        return DeclaredState.NOT_SEEN, "", unseen_because(scene, "i2c")[0]
    if client is None:
        return DeclaredState.NOT_SEEN, "", "the kernel made no client of it: its controller may have no driver"
    state = asked(client, scene)
    if state is Asked.HELD:
        does = f", {', '.join(client.functions)}" if client.functions else ""
        return DeclaredState.FOUND, f"{client.name or client.identity}{does}", ""
    if state in _CLIENT_LOST and not scene.seen(client.bus):
        return DeclaredState.NOT_SEEN, "", unseen_because(scene, client.bus)[0]
    if state in _CLIENT_LOST:
        return DeclaredState.NOT_FOUND, "", _CLIENT_LOST[state]
    return DeclaredState.NOT_SEEN, "", _CLIENT_UNSEEN[state].format(next(iter(made_for(client, scene)), "none known"))


_CLIENT_LOST = {
    Asked.FAILED: "its driver asked it and failed (kernel's log)",
    Asked.SILENT: "its driver is loaded, and nothing answered at its address",
}
_CLIENT_UNSEEN = {
    Asked.WAITING: "it still waits for another device that supplies it",
    Asked.LEFT_ALONE: "a driver for it is loaded and does not hold it",
    Asked.UNASKED: "no driver for it is loaded ({}), so nobody asked",
}


def _ps2(port: str, driver: str, answered: DeclaredState, bear_in_mind: str) -> Callable[[Node, Scene], _Judged]:
    """What the PS/2 port says that carries it; the port itself proves a controller alone (i8042.c)."""

    def judge(_node: Node, scene: Scene) -> _Judged:
        ports = [one for one in scene.capture.nodes if one.bus == "serio" and f"/i8042/{port}" in one.location]
        held = next((one for one in ports if one.driver), None)
        if held is not None:
            return answered, f"{held.name}, driver {held.driver}", bear_in_mind
        switch = f"i8042.no{port}"
        if switch in scene.capture.software.switches:
            return DeclaredState.NOT_SEEN, "", f"the kernel was started with {switch}"
        because = "nothing answered on its PS/2 port" if ports else "the kernel found no PS/2 port for it"
        return _silent("serio", (driver,), scene, because)

    return judge


def _type_c(node: Node, scene: Scene) -> _Judged:
    """The controller behind the Type-C sockets: its driver makes the ports once it answers."""
    if not scene.seen("typec") or not node.driver:
        return _on_its_word(node, scene)
    ports = scene.coverage["typec"].nodes
    if ports:
        return DeclaredState.FOUND, f"driver {node.driver}, {ports} nodes of ports", ""
    return DeclaredState.NOT_FOUND, "", f"driver {node.driver} holds it, and it shows no port"


_FIXED_BUTTON = "LNXPWRBN"
"""The button that the ACPI tables themselves declare; with a PNP0C0C the same one again."""

_KEYBOARD = _Named(
    what="PS/2 keyboard",
    function="keyboard",
    judge=_ps2("kbd", "atkbd", DeclaredState.UNPROVEN, "on a laptop the kernel assumes it without asking"),
)
_AUXILIARY = _Named(
    what="PS/2 pointing device", function="pointing-device", judge=_ps2("aux", "psmouse", DeclaredState.FOUND, "")
)
_BATTERY = _Named(what="battery", function="battery", judge=_supply)
_BUTTON = _Named(what="power button", function="power-button", judge=_on_its_word)
_HID = _Named(what="HID device on I2C", function="", judge=_hid_client)

_KEYBOARD_IDS = (*range(0x0300, 0x0307), 0x0309, 0x030A, 0x030B, 0x0320, 0x0343, 0x0344, 0x0345)
_AUXILIARY_IDS = (0x0F03, 0x0F0B, 0x0F0E, 0x0F12, 0x0F13, 0x0F19, 0x0F1C)

_NAMED: dict[str, _Named] = {
    "PNP0C0A": _BATTERY,
    "ACPI0002": _BATTERY,
    "ACPI0003": _Named(what="mains adapter", function="mains-adapter", judge=_supply),
    "PNP0C0D": _Named(what="lid switch", function="lid", judge=_on_its_word),
    "PNP0C0C": _BUTTON,
    _FIXED_BUTTON: _BUTTON,
    "ACPI0008": _Named(what="ambient light sensor", function="sensor", judge=_on_its_word),
    "PNP0C0B": _Named(what="fan", function="fan", judge=_fan),
    "PNP0CA0": _Named(what="USB Type-C controller", function="", judge=_type_c),
    "PNP0C50": _HID,
    "ACPI0C50": _HID,
    **{f"PNP{number:04X}": _KEYBOARD for number in _KEYBOARD_IDS},
    **{f"PNP{number:04X}": _AUXILIARY for number in _AUXILIARY_IDS},
}
"""By hardware id, or by an id that the object says it is compatible with."""
