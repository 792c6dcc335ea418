"""Internal parts that SMBIOS records name, and what the kernel found of each.

DMTF DSP0134: pointing device (7.22), portable battery (7.23), onboard devices
(7.11 and 7.42). The record is written from a template (common practice, no
source), a pointing device's interface code may be older than its bus, and a
portable battery's record is never evidence that a pack is there.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from usbwatch.compare.blind_spots import BUSES_OF_FUNCTION, blind_spot
from usbwatch.compare.clients import Asked, asked, is_client
from usbwatch.compare.scene import Placing, Scene, unseen_because
from usbwatch.model import Declaration, DeclaredState, ExpectedDevice, Fact, Kind, Node, Rung

__all__ = ["smbios_declarations"]

_Judged = tuple[DeclaredState, str, str]


def smbios_declarations(scene: Scene) -> Iterator[Declaration]:
    """One declaration for every record that names an internal part of a kind that the kernel can find."""
    records = [node for node in scene.capture.nodes if node.bus == "smbios"]
    for node in records:
        if node.identity in _READERS:
            yield from _READERS[node.identity](node, scene)
    for identity in _ONBOARD_RECORDS:
        yield from _onboards([node for node in records if node.identity == identity], scene)


_POINTING = {3: "mouse", 4: "mouse", 5: "pointing-stick", 7: "touchpad", 8: "touchscreen"}
"""Kind of a pointing device (DSP0134 7.22.1) to function; all others are just that, a pointing device."""

_POINTING_BUS = {0x04: "serio", 0xA2: "usb", 0xA3: "i2c", 0xA4: "spi"}
"""Its interface (7.22.2) to the bus that it shows on."""

_ANY_POINTING_BUS = ("usb", "i2c", "spi", "serio")


def _pointing(node: Node, scene: Scene) -> Iterator[Declaration]:
    kind, code = node.facts.get("kind"), node.facts.get("interface")
    function = _POINTING.get(kind, "pointing-device") if isinstance(kind, int) else "pointing-device"
    bus = _POINTING_BUS.get(code, "") if isinstance(code, int) else ""
    name = str(node.facts.get("interface_name", ""))
    interface = f"interface {name}" if name else f"interface code {code}, which has no name"
    what = str(node.facts.get("kind_name", "")) or "pointing device"
    if what in ("other", "unknown"):
        what = "pointing device"
    state, found, because = _pointing_found(function, bus, scene)
    yield Declaration(
        what=what,
        state=state,
        said_by=f"SMBIOS pointing device, {interface}",
        where=node.location,
        function=function,
        found=found,
        because=because,
    )


def _pointing_found(function: str, bus: str, scene: Scene) -> _Judged:
    buses = (bus,) if bus else _ANY_POINTING_BUS
    exact = _inside(function, buses, scene)
    if exact is not None:
        return _found(exact, scene)
    plain = _inside("pointing-device", ("serio",), scene) if "serio" in buses else None
    if plain is not None and bus:
        return DeclaredState.FOUND, _shown(plain), "a PS/2 pad may answer as a mouse"
    if plain is not None:
        return DeclaredState.UNPROVEN, _shown(plain), "firmware does not say which bus it is on; this may be another"
    elsewhere = _inside(function, _ANY_POINTING_BUS, scene)
    if elsewhere is not None:
        return DeclaredState.UNPROVEN, _shown(elsewhere), "another bus than firmware says; this may be another"
    return _not_found(function, buses, scene)


def _battery(node: Node, scene: Scene) -> Iterator[Declaration]:
    batteries = [one for one in scene.capture.nodes if one.bus == "acpi" and "battery" in one.functions]
    talking = next((one for one in batteries if one.rung is Rung.WORKING), None)
    silent = next((one for one in batteries if one.rung is not Rung.ABSENT), None)
    state, found, because = DeclaredState.NOT_FOUND, "", "the record tells of a design, never of a pack in the bay"
    if talking is not None:
        state, found, because = DeclaredState.FOUND, _shown(talking), ""
    elif not scene.seen("power_supply") or not scene.seen("acpi"):
        bus = "acpi" if scene.seen("power_supply") else "power_supply"
        state, because = DeclaredState.NOT_SEEN, unseen_because(scene, bus)[0]
    elif silent is not None:
        state, found, because = DeclaredState.UNPROVEN, _shown(silent), "its gauge does not talk"
    name = f" {node.name}" if node.name else ""
    yield Declaration(
        what="battery",
        state=state,
        said_by=f"SMBIOS portable battery{name}",
        where=node.location,
        function="battery",
        found=found,
        because=because,
    )


_ONBOARD = {
    0x03: "graphics",
    0x05: "ethernet",
    0x07: "audio",
    0x0B: "wlan",
    0x0C: "bluetooth",
    0x0D: "wwan",
    0x0E: "disk",
    0x0F: "disk",
    0x10: "disk",
}
"""Type of an onboard device (DSP0134 7.42.2) to function."""


_ONBOARD_RECORDS = ("type 10", "type 41")
"""Type 41 takes the place of type 10 (DSP0134 7.11), and firmware often has both for one device."""


def _onboards(records: list[Node], scene: Scene) -> Iterator[Declaration]:
    """The records of one type, of which no two share a node."""
    addressed = (_pci_location(str(node.facts.get("bus_address", "")), scene) for node in records)
    taken = {place for place in addressed if place in scene.at}
    for node in records:
        yield from _onboard(node, scene, taken)


def _onboard(node: Node, scene: Scene, taken: set[str]) -> Iterator[Declaration]:
    """Nothing for a device that has neither a known type nor an address: no kernel node could stand for it."""
    kind, address = node.facts.get("device_type"), str(node.facts.get("bus_address", ""))
    function = _ONBOARD.get(kind, "") if isinstance(kind, int) else ""
    if not function and not address:
        return
    state, found, because = _onboard_found(function, _pci_location(address, scene), scene, taken)
    enabled = node.facts.get("enabled")
    if enabled == 0:
        because = "found although firmware says that it is switched off" if found else "firmware has it switched off"
        state = state if found else DeclaredState.OFF
    yield Declaration(
        what=str(node.facts.get("device_name", "")) or "onboard device",
        state=state,
        said_by=f"SMBIOS onboard device {node.name}".rstrip() + _switch(enabled),
        where=node.location,
        function=function,
        found=found,
        because=because,
    )


def _switch(enabled: Fact | None) -> str:
    return {1: ", enabled", 0: ", not enabled"}.get(enabled, "") if isinstance(enabled, int) else ""


def _onboard_found(function: str, location: str, scene: Scene, taken: set[str]) -> _Judged:
    """By its address where that is one on a root bus; bus numbers behind bridges mean nothing from boot to boot.

    ``taken`` are the places of nodes that stand for another record; the one that stands for this is added.
    """
    at_address = next((one for one in scene.at.get(location, ()) if one.bus == "pci"), None)
    if at_address is not None:
        return DeclaredState.FOUND, _shown(at_address), ""
    if function:
        return _onboard_elsewhere(function, location, scene, taken)
    if not location:
        return DeclaredState.NOT_SEEN, "", "its address lies behind a bridge, where bus numbers change"
    if not scene.seen("pci"):
        return DeclaredState.NOT_SEEN, "", unseen_because(scene, "pci")[0]
    return DeclaredState.NOT_FOUND, "", f"nothing is at {location}"


def _onboard_elsewhere(function: str, location: str, scene: Scene, taken: set[str]) -> _Judged:
    """By its function alone, which may be another part's where firmware gives an address at which it is not."""
    buses = BUSES_OF_FUNCTION.get(function, ("pci", "usb"))
    found = _inside(function, buses, scene, taken)
    if found is None:
        return _not_found(function, buses, scene)
    taken.add(found.location)
    if location:
        return DeclaredState.UNPROVEN, _shown(found), "another address than firmware says; this may be another"
    return _found(found, scene)


def _pci_location(address: str, scene: Scene) -> str:
    """The location of ``0000:00:19.0``, "" unless its bus is a root bus that this capture knows."""
    root, _, function = address.rpartition(":")
    known = any(place.startswith(f"pci{root}/") for place in scene.at)
    return f"pci{root}/{function}" if root and known else ""


def _inside(function: str, buses: Iterable[str], scene: Scene, taken: Collection[str] = ()) -> Node | None:
    """Of the parts with a function on some buses that do not lie outside the unit: one inside, and the furthest."""
    found = [
        node
        for node in scene.capture.nodes
        if function in node.functions
        and node.bus in buses
        and node.kind in (Kind.DEVICE, Kind.INFRASTRUCTURE)
        and node.rung is not Rung.ABSENT
        and node.location not in taken
        and scene.placing(node) is not Placing.OUTSIDE
    ]
    return max(found, key=lambda node: (scene.placing(node) is Placing.INSIDE, node.rung.height), default=None)


def _found(node: Node, scene: Scene) -> _Judged:
    """Found where it is known to be inside: a part in a socket says nothing of the unit's own."""
    if scene.placing(node) is Placing.INSIDE:
        return DeclaredState.FOUND, _shown(node), ""
    return DeclaredState.UNPROVEN, _shown(node), "nothing says whether that is inside the unit"


def _shown(node: Node) -> str:
    called = " ".join(filter(None, (node.name, node.identity))) or node.bus
    return f"{called} at {node.location}, {node.rung.value}"


def _not_found(function: str, buses: Iterable[str], scene: Scene) -> _Judged:
    """Not found only where every bus that it could be on was seen, with all that carries it at work."""
    for bus in buses:
        if not scene.seen(bus):
            return DeclaredState.NOT_SEEN, "", unseen_because(scene, bus)[0]
    blind = _undriven_client(buses, scene) or blind_spot(_looked_for(function), scene)
    if blind:
        return DeclaredState.NOT_SEEN, "", blind
    return DeclaredState.NOT_FOUND, "", f"nothing inside does this on {' or '.join(buses)}"


def _looked_for(function: str) -> ExpectedDevice:
    return ExpectedDevice(id="", name=function, function=function, within="")


def _undriven_client(buses: Iterable[str], scene: Scene) -> str:
    """A sentence on an I2C or SPI client that no driver holds, so that its function is not known, or ""."""
    for node in scene.capture.nodes:
        if node.bus in buses and is_client(node) and asked(node, scene) is not Asked.HELD:
            return f"no driver holds the client at {node.location}, so what it does was not seen"
    return ""


_READERS = {"type 21": _pointing, "type 22": _battery}
