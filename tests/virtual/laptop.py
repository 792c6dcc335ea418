"""The invented laptop, Fernhill Larch 13, as an emulated machine: what sits at which port, and what ails it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from virtual.build import Built
from virtual.firmware import Gauge, firmware_arguments
from virtual.machine import Machine
from virtual.redirection import Peer
from virtual.usb_parts import PARTS, Fault, Speed, UsbPart

__all__ = ["HEALTHY", "Condition", "Laptop", "running"]

_PORTS = {"keyboard": "4.1", "touchpad": "4.2", "fingerprint-reader": "4.3", "camera": "5", "bluetooth": "6"}
"""Where the invented USB parts sit: port 4 carries the internal hub."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What ails the laptop, and what a person plugged into it."""

    missing: tuple[str, ...] = ()
    fails: Mapping[str, Mapping[str, Fault]] = field(default_factory=dict)
    """By part, what goes wrong in it."""
    speeds: Mapping[str, Speed] = field(default_factory=dict)
    """By part, the speed that it falls back to."""
    gauge: Gauge = "talks"
    sockets: Mapping[str, UsbPart] = field(default_factory=dict)
    """What is plugged into the sockets 1 to 3."""


HEALTHY = Condition()


@dataclass(frozen=True, slots=True, kw_only=True)
class Laptop:
    """A running laptop: its machine, and its invented USB parts by name."""

    machine: Machine
    parts: Mapping[str, Peer]


@contextmanager
def running(built: Built, condition: Condition, folder: Path) -> Iterator[Laptop]:
    """The laptop in a condition, booted and settled; it ends with the context."""
    with ExitStack() as stack:
        parts: dict[str, Peer] = {}
        redirected: list[str] = []
        for name, (port, part) in _fitted(condition).items():
            parts[name] = Peer(part)
            stack.callback(parts[name].close)
            redirected += _redirected(name, port, parts[name])
        arguments = [*_controller(), *redirected, *_own_usb_parts(folder), *_other_parts()]
        arguments += firmware_arguments(folder, condition.gauge)
        sockets = [peer.socket for peer in parts.values()]
        yield Laptop(machine=stack.enter_context(Machine(built, arguments, folder, sockets)), parts=parts)


def _fitted(condition: Condition) -> dict[str, tuple[str, UsbPart]]:
    """Each invented part that is there, by name: its port, and what it is."""
    fitted = {
        name: (port, replace(PARTS[name], fails=condition.fails.get(name, {})))
        for name, port in _PORTS.items()
        if name not in condition.missing
    }
    for name, speed in condition.speeds.items():
        port, part = fitted[name]
        fitted[name] = (port, replace(part, speed=speed))
    return fitted | {f"socket-{port}": (port, part) for port, part in condition.sockets.items()}


def _redirected(name: str, port: str, peer: Peer) -> list[str]:
    channel = f"socket,id=to-{name},fd={peer.socket.fileno()}"
    return ["-chardev", channel, "-device", f"usb-redir,id={name},chardev=to-{name},bus=xhci.0,port={port}"]


def _controller() -> list[str]:
    """The USB controller with ten ports, three of them also SuperSpeed, and the internal hub."""
    hub = "usb-hub,id=internal-hub,bus=xhci.0,port=4,ports=4,serial=IH-0001-DEMO"
    return ["-device", "qemu-xhci,id=xhci,addr=14.0,p2=10,p3=3", "-device", hub]


def _own_usb_parts(folder: Path) -> list[str]:
    """USB parts that the emulator brings: smart card reader, card reader, headset audio."""
    card = folder / "card"
    with card.open("wb") as image:
        image.truncate(8 << 20)
    reader = "usb-storage,id=card-reader,drive=card,bus=xhci.0,port=8,removable=on,serial=CR-0001-DEMO"
    return [
        *("-device", "usb-ccid,id=smart-card-reader,bus=xhci.0,port=4.4,serial=SC-0001-DEMO"),
        *("-drive", f"file={card},if=none,id=card,format=raw,cache=unsafe", "-device", reader),
        *("-audiodev", "none,id=headset", "-device", "usb-audio,audiodev=headset,bus=xhci.0,port=9"),
    ]


def _other_parts() -> list[str]:
    """Disk, graphics with a panel, network, sound."""
    return [
        *("-device", "nvme,drive=disk,serial=DK-0001-DEMO,addr=6.0"),
        *("-device", "VGA,addr=2.0,edid=on,xres=1920,yres=1080"),
        *("-device", "e1000e,addr=19.0,mac=52:54:00:12:34:56,netdev=wire", "-netdev", "hubport,hubid=0,id=wire"),
        *("-audiodev", "none,id=speakers", "-device", "ich9-intel-hda,id=sound,addr=1b.0"),
        *("-device", "hda-duplex,audiodev=speakers,bus=sound.0"),
    ]
