"""Changes to the nodes of a capture, as a unit that is built or behaves otherwise would show them.

The words are those of the capture room: what a missing, failing, moved or
undriven part looks like in a capture of the invented laptops' trees.
"""

from __future__ import annotations

from dataclasses import replace

from usbwatch.model import Kind, Node, Rung, hangs_on

__all__ = ["Nodes", "add_helper", "fail", "lose", "move", "reidentify", "slow_down", "undrive", "unmap"]

Nodes = dict[tuple[str, str], Node]
"""By bus and location."""


def _of(nodes: Nodes, place: str) -> list[Node]:
    """What is at a place and what hangs on it."""
    return [node for node in nodes.values() if node.location == place or hangs_on(node.location, place)]


def _drop(nodes: Nodes, gone: list[Node]) -> None:
    for node in gone:
        del nodes[node.bus, node.location]


def _set(nodes: Nodes, node: Node) -> None:
    nodes[node.bus, node.location] = node


def _empty_port(nodes: Nodes, place: str) -> None:
    port = nodes.get(("usb-port", place))
    if port is not None:
        _set(nodes, replace(port, rung=Rung.ABSENT, facts={**port.facts, "state": "not attached"}))


def lose(nodes: Nodes, place: str, bus: str, *, fitted: bool) -> None:
    """A part is not there. ``fitted``: the unit should have it, so that firmware still names it."""
    if bus in ("i2c", "spi"):
        _lose_client(nodes, place, bus, fitted=fitted)
    elif bus == "drm":
        connector = nodes[bus, place]
        facts = {**connector.facts, "edid_bytes": 0, "enabled": "disabled", "status": "disconnected"}
        gone = replace(connector, kind=Kind.PORT, rung=Rung.ABSENT, identity="", functions=(), facts=facts, raw={})
        _set(nodes, gone)
    elif bus == "acpi" and fitted:
        declared = nodes[bus, place]
        _drop(nodes, [node for node in _of(nodes, place) if node is not declared])
        _set(nodes, replace(declared, rung=Rung.ABSENT, facts={**declared.facts, "status": 15}))
    else:
        _drop(nodes, [node for node in _of(nodes, place) if (node.bus, node.location) != ("usb-port", place)])
        _empty_port(nodes, place)


def _lose_client(nodes: Nodes, place: str, bus: str, *, fitted: bool) -> None:
    client, declared = nodes[bus, place], nodes["acpi", place]
    _drop(nodes, [node for node in _of(nodes, place) if node is not declared])
    if fitted:
        _set(nodes, replace(client, rung=Rung.ATTACHED, driver="", functions=()))
        _set(nodes, replace(declared, driver=""))
    else:
        _set(nodes, replace(declared, driver="", rung=Rung.ABSENT, facts={**declared.facts, "status": 0}))


def fail(nodes: Nodes, place: str) -> None:
    """A USB part attaches and does not enumerate."""
    _drop(nodes, [node for node in _of(nodes, place) if (node.bus, node.location) != ("usb-port", place)])
    port = nodes["usb-port", place]
    _set(nodes, replace(port, rung=Rung.ATTACHED, facts={**port.facts, "state": "powered"}))


def reidentify(nodes: Nodes, place: str, old: str, new: str) -> None:
    """A part of another maker, which says another identity wherever it says one."""
    for node in _of(nodes, place):
        if node.identity == old:
            _set(nodes, replace(node, identity=new))


def move(nodes: Nodes, place: str, target: str) -> None:
    """A part, with all that hangs on it, at another place; its ports change state with it."""
    moving = [node for node in _of(nodes, place) if (node.bus, node.location) != ("usb-port", place)]
    ports = {key: nodes.get(("usb-port", key)) for key in (place, target)}
    _drop(nodes, moving)
    for node in moving:
        facts = {
            key: value.replace(place, target) if isinstance(value, str) else value for key, value in node.facts.items()
        }
        _set(nodes, replace(node, location=target + node.location[len(place) :], facts=facts))
    old, new = ports[place], ports[target]
    if old is not None and new is not None:
        _set(nodes, replace(old, location=target, facts={**old.facts, "location": new.facts.get("location", "")}))
        empty = {**new.facts, "location": old.facts.get("location", "")}
        _set(nodes, replace(new, location=place, facts=empty))


def undrive(nodes: Nodes, place: str, bus: str) -> None:
    """A kernel without the part's driver."""
    kept = [node for node in _of(nodes, place) if node.bus in ("usb", "usb-port", "acpi") or node.location == place]
    _drop(nodes, [node for node in _of(nodes, place) if node not in kept])
    classes = {word for node in kept if node.kind is Kind.INTERFACE for word in node.functions}
    for node in kept:
        if node.bus == "usb":
            functions = tuple(word for word in node.functions if word in classes)
            _set(nodes, replace(node, driver="", rung=Rung.CONFIGURED, functions=functions))
        elif node.bus == "pci":
            _set(nodes, replace(node, driver="", rung=Rung.IDENTIFIED))
        elif node.bus in ("i2c", "spi"):
            _set(nodes, replace(node, driver="", rung=Rung.ATTACHED, functions=()))
        elif node.bus == "acpi" and bus != "acpi":
            _set(nodes, replace(node, driver=""))


def slow_down(nodes: Nodes, place: str) -> None:
    """A USB part fell back to full speed."""
    node = nodes["usb", place]
    _set(nodes, replace(node, facts={**node.facts, "speed_kbps": 12000}))


def unmap(nodes: Nodes) -> None:
    """Firmware says nothing of the USB ports, and hubs know no better."""
    for node in list(nodes.values()):
        if node.bus == "usb-port":
            facts = {
                key: value for key, value in node.facts.items() if key not in ("connect_type", "panel", "location")
            }
            _set(nodes, replace(node, facts={**facts, "connect_type": "unknown"}))
        elif node.bus == "usb" and "removable" in node.facts:
            _set(nodes, replace(node, facts={**node.facts, "removable": "unknown"}))


def add_helper(nodes: Nodes, place: str, identity: str, name: str, function: str) -> None:
    """Somebody's own USB device in a socket."""
    port = nodes.get(("usb-port", place))
    if port is None or ("usb", place) in nodes:
        return
    mapped = port.facts.get("connect_type") == "hotplug"
    _set(nodes, replace(port, rung=Rung.CONFIGURED, facts={**port.facts, "state": "configured"}))
    triple, driver = _CLASSES[function]
    facts: dict[str, str | int] = {
        "class": "00/00/00",
        "removable": "removable" if mapped else "unknown",
        "speed_kbps": 480000 if function == "storage" else 12000,
    }
    device = Node(
        bus="usb",
        location=place,
        kind=Kind.DEVICE,
        rung=Rung.WORKING,
        identity=identity,
        name=name,
        functions=(function,),
        driver=driver,
        facts=facts,
    )
    _set(nodes, device)
    _set(nodes, replace(device, location=f"{place}/if0", kind=Kind.INTERFACE, identity=triple, name="", facts={}))


_CLASSES = {
    "mouse": ("03/01/02", "usbhid"),
    "keyboard": ("03/01/01", "usbhid"),
    "storage": ("08/06/50", "usb-storage"),
    "bluetooth": ("e0/01/01", "btusb"),
    "camera": ("0e/01/00", "uvcvideo"),
    "audio": ("01/01/00", "snd-usb-audio"),
}
