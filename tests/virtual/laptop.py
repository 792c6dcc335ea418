"""An invented laptop as an emulated machine: what ails it, what a person plugged in, and its parts at work."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from virtual.build import Built
from virtual.firmware import Gauge, firmware_arguments
from virtual.larch_13 import LARCH_13
from virtual.layout import Layout, Port
from virtual.machine import Emulator, Machine
from virtual.redirection import Peer
from virtual.usb_parts import Fault, Speed, UsbPart

__all__ = ["HEALTHY", "Condition", "Fitted", "Laptop", "fitted", "running"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What ails the laptop, and what a person plugged into it."""

    missing: tuple[str, ...] = ()
    """Parts that are taken out, by name."""
    fails: Mapping[str, Mapping[str, Fault]] = field(default_factory=dict)
    """By part, what goes wrong in it."""
    speeds: Mapping[str, Speed] = field(default_factory=dict)
    """By part, the speed that it falls back to."""
    gauge: Gauge = "talks"
    sockets: Mapping[str, UsbPart] = field(default_factory=dict)
    """What is plugged into the sockets of the layout."""
    screen: tuple[int, int] | None = None
    """The panel's columns and rows, where it is another than the layout's."""
    ps2: bool = True
    """Whether the controller of the PS/2 ports is there."""
    late: tuple[str, ...] = ()
    """Devices of the board that wake only when ``Laptop.wake`` is called, by the emulator's name."""


HEALTHY = Condition()
HUB = "internal-hub"
"""What the emulator calls the hub that a board may carry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A laptop before it is switched on: its invented parts, and what the emulator is started with."""

    parts: Mapping[str, Peer]
    arguments: tuple[str, ...]
    late: tuple[str, ...]
    """Devices that wake later, as the emulator's arguments."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Laptop:
    """A running laptop: its machine, and its invented USB parts by name."""

    machine: Machine
    layout: Layout
    parts: dict[str, Peer]
    late: tuple[str, ...] = ()
    devices: Mapping[str, str] = field(default_factory=dict)
    """What the emulator was started with, by its own names, as its arguments have it."""

    def wake(self) -> None:
        """Let the late devices, and what hangs on them, appear."""
        for device in self.late:
            add(self.machine, device)

    def plug(self, socket_name: str, part: UsbPart) -> None:
        """Plug something into a socket."""
        self._fit(f"socket-{socket_name}", self.layout.sockets[socket_name], Peer(part))

    def unplug(self, socket_name: str) -> None:
        """Pull it out of the socket."""
        name = f"socket-{socket_name}"
        self.machine.take_out(name)
        self.parts.pop(name).close()

    def put_back(self, device: str) -> None:
        """Put back what was taken out, and new parts of the kinds that hung on it."""
        add(self.machine, self.devices[device])
        port = f"{_option(self.devices[device], 'port')}."
        for name, (place, part) in self.layout.usb_parts.items():
            if place.bus == f"{device}.0" or (device == HUB and place.port.startswith(port)):
                self.parts[name].close()
                self._fit(name, place, Peer(part))
        for name, behind in self.devices.items():
            if device == HUB and name != HUB and (_option(behind, "port") or "").startswith(port):
                add(self.machine, behind)

    def _fit(self, name: str, port: Port, peer: Peer) -> None:
        self.parts[name] = peer
        self.machine.give(f"fd-{name}", peer.socket)
        address = {"type": "fd", "data": {"str": f"fd-{name}"}}
        backend = {"type": "socket", "data": {"addr": address, "server": False}}
        self.machine.change("chardev-add", id=f"to-{name}", backend=backend)
        add(self.machine, _redirected(name, port)[-1])


@contextmanager
def running(built: Built, condition: Condition, folder: Path, layout: Layout = LARCH_13) -> Iterator[Laptop]:
    """The laptop in a condition, booted and settled; it ends with the context."""
    with fitted(layout, condition, folder) as laptop:
        sockets = [peer.socket for peer in laptop.parts.values()]
        with Machine(built, laptop.arguments, folder, sockets) as machine:
            parts = dict(laptop.parts)
            try:
                yield Laptop(machine=machine, layout=layout, parts=parts, late=laptop.late, devices=_devices(laptop))
            finally:
                for peer in parts.values():
                    peer.close()


@contextmanager
def fitted(layout: Layout, condition: Condition, folder: Path) -> Iterator[Fitted]:
    """The laptop in a condition, not yet switched on; its invented parts end with the context."""
    arguments = [*layout.board]
    with ExitStack() as stack:
        parts: dict[str, Peer] = {}
        for name, (port, part) in _usb_parts(layout, condition).items():
            parts[name] = Peer(part)
            stack.callback(parts[name].close)
            arguments += ["-chardev", f"socket,id=to-{name},fd={parts[name].socket.fileno()}"]
            arguments += _redirected(name, port)
        for name, own in {**_graphics(layout, condition), **layout.own_parts(folder)}.items():
            arguments += own if name not in condition.missing else ()
        if not condition.ps2:
            arguments += ["-machine", "i8042=off"]
        arguments += firmware_arguments(layout.firmware, folder, condition.gauge)
        now, late = _parted(arguments, condition.late)
        yield Fitted(parts=parts, arguments=tuple(now), late=tuple(late))


def _graphics(layout: Layout, condition: Condition) -> dict[str, tuple[str, ...]]:
    width, height = condition.screen or layout.screen
    return {"graphics": ("-device", f"VGA,addr=2.0,edid=on,xres={width},yres={height}")}


def add(machine: Emulator, device: str) -> None:
    """Plug a device in while the machine runs; it is named as in an argument of the emulator."""
    driver, *properties = device.split(",")
    machine.change("device_add", driver=driver, **dict(one.split("=", 1) for one in properties))


def _usb_parts(layout: Layout, condition: Condition) -> dict[str, tuple[Port, UsbPart]]:
    """Each invented part that is there, by name: its port, and what it is."""
    there = {
        name: (port, replace(part, fails=condition.fails.get(name, {})))
        for name, (port, part) in layout.usb_parts.items()
        if name not in condition.missing
    }
    for name, speed in condition.speeds.items():
        port, part = there[name]
        there[name] = (port, replace(part, speed=speed))
    return there | {f"socket-{name}": (layout.sockets[name], part) for name, part in condition.sockets.items()}


def _redirected(name: str, port: Port) -> list[str]:
    return ["-device", f"usb-redir,id={name},chardev=to-{name},bus={port.bus},port={port.port}"]


def _devices(laptop: Fitted) -> dict[str, str]:
    """The devices that the emulator brings, by its names for them."""
    pairs = zip(laptop.arguments[::2], laptop.arguments[1::2], strict=True)
    values = [*(value for option, value in pairs if option == "-device"), *laptop.late]
    named = ((_option(value, "id"), value) for value in values)
    return {name: value for name, value in named if name and name not in laptop.parts}


def _option(device: str, name: str) -> str:
    """What an argument of the emulator says of a property, "" when nothing."""
    found = [one.partition("=")[2] for one in device.split(",") if one.startswith(f"{name}=")]
    return found[0] if found else ""


def _parted(arguments: Iterable[str], late: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """The arguments for the start, and the devices that come later: those named, and what hangs on their buses."""
    now: list[str] = []
    later: list[str] = []
    pairs = iter(arguments)
    for option, value in zip(pairs, pairs, strict=True):
        words = value.split(",")
        belongs = any(f"id={name}" in words or f"bus={name}.0" in words for name in late)
        if option == "-device" and belongs:
            later.append(value)
        else:
            now += [option, value]
    return now, later
