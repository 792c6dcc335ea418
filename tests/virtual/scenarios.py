"""What is done to the emulated laptops while they run, and what is then true.

The truth is what was done, and how the model is built: never what an earlier
run of the program printed. Every row ends with the laptop as it was before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from virtual.firmware import HUSHED, PULLED
from virtual.heron_14e import HERON_14E
from virtual.laptop import HUB, Laptop
from virtual.larch_13 import LARCH_13
from virtual.layout import Layout
from virtual.program import sh, until
from virtual.usb_parts import PARTS, Fault, Speed, UsbPart

__all__ = ["COLD", "HIDDEN", "LAYOUTS", "PROFILES", "ROWS", "Row"]

LAYOUTS: Mapping[str, Layout] = {"Larch 13": LARCH_13, "Heron 14 E": HERON_14E}

_HERE = Path(__file__).parent
PROFILES = {
    "Larch 13": _HERE.parent.parent / "profiles" / "fernhill-larch-13.toml",
    "Heron 14 E": _HERE / "profiles" / "brackwell-heron-14e.toml",
}

LARCH, HERON, HERON_FAST = "pci0000:00/14.0/usb2", "pci0000:00/1c.0/00.0/usb2", "pci0000:00/1c.0/00.0/usb3"
ABSENT, HIDDEN = ("missing", "absent"), ("unseen", "not observed")
SILENT, FAILED = ("impaired", "there, but does not talk"), ("impaired", "failed to enumerate")
SLOW, FLAPS = ("impaired", "works below its speed or grade"), ("impaired", "comes and goes")

Deed = Callable[[Laptop], None]
Told = tuple[tuple[str, tuple[str, ...]], ...]
"""Incidents of a watch: what changed, and the devices that it is told of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What is done to a laptop, and what is then true."""

    layout: str
    name: str
    deed: Deed
    undo: Deed
    untrue: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    """Verdict and symptom of each expected device that is not as in a healthy laptop."""
    external: tuple[tuple[str, str], ...] = ()
    """Identity and location of what a person plugged in."""
    watched: Told | None = None
    """What a watch tells that runs meanwhile; None where none runs."""
    parts: frozenset[str] = frozenset()
    """The parts of which one must be named as the likeliest: those whose fault this could be; "" is software."""
    cleared: frozenset[str] = frozenset()
    """Parts that cannot be it, since what hangs on them works."""
    steps: frozenset[str] = frozenset()
    """Steps that would settle it on the bench, of which one must be proposed."""
    changed: frozenset[tuple[str, str]] = frozenset()
    """Kind and location of each change against the capture of the healthy laptop."""
    says: tuple[str, ...] = ()
    """What the report says in these words."""


def nothing(_laptop: Laptop) -> None:
    """Leave it as it is."""


def there(laptop: Laptop, *devices: str) -> None:
    """Wait until the kernel has these USB devices, by the end of its name for them, and nothing new happens."""
    until(laptop, " && ".join(f"[ -e /sys/bus/usb/devices/{one} ]" for one in devices) or "true")
    sh(laptop, "settle 15 12")


def unplugged(*names: str) -> Deed:
    """Let parts lose their contact."""

    def deed(laptop: Laptop) -> None:
        for name in names:
            laptop.parts[name].unplug()
        sh(laptop, "settle 15 12")

    return deed


def plugged(*names: str) -> Deed:
    """Give parts their contact again, as the layout has them."""

    def deed(laptop: Laptop) -> None:
        for name in names:
            laptop.parts[name].unplug()
        sh(laptop, "settle 15 3")
        for name in names:
            laptop.parts[name].plug(laptop.layout.usb_parts[name][1])

    return deed


def changed(name: str, change: Callable[[UsbPart], UsbPart], once: str = "true") -> Deed:
    """Let a part lose its contact, and come back as another."""

    def deed(laptop: Laptop) -> None:
        unplugged(name)(laptop)
        laptop.parts[name].plug(change(laptop.layout.usb_parts[name][1]))
        until(laptop, once)
        sh(laptop, "settle 15 12")

    return deed


def slower(speed: Speed) -> Callable[[UsbPart], UsbPart]:
    return lambda part: replace(part, speed=speed)


def failing(**stages: Fault) -> Callable[[UsbPart], UsbPart]:
    return lambda part: replace(part, fails={stage.replace("_", " "): fault for stage, fault in stages.items()})


def flapping(name: str, times: int, device: str) -> Deed:
    """Let a part come and go so many times; it is there in the end."""

    def deed(laptop: Laptop) -> None:
        for _ in range(times):
            laptop.parts[name].unplug()
            until(laptop, f"! [ -e /sys/bus/usb/devices/{device} ]")
            sh(laptop, "usleep 400000")
            laptop.parts[name].plug()
            there(laptop, device)

    return deed


def in_socket(socket_name: str, part: UsbPart, device: str, *, then: Deed = nothing) -> Deed:
    """Plug something into a socket, and do something besides."""

    def deed(laptop: Laptop) -> None:
        laptop.plug(socket_name, part)
        there(laptop, device)
        then(laptop)

    return deed


def out_of_socket(socket_name: str, then: Deed = nothing) -> Deed:
    def deed(laptop: Laptop) -> None:
        laptop.unplug(socket_name)
        then(laptop)

    return deed


def pack(*orders: int) -> Deed:
    """Do something to the pack, once after another, and let the system ask its firmware."""

    def deed(laptop: Laptop) -> None:
        for order in orders:
            laptop.machine.change("human-monitor-command", **{"command-line": f"o/b 0x3ff {order:#x}"})
            sh(laptop, "cat /sys/class/power_supply/A*/online >/dev/null; settle 15 12")

    return deed


def taken_out(*devices: str) -> Deed:
    """Take out parts that the emulator brings."""

    def deed(laptop: Laptop) -> None:
        for device in devices:
            laptop.machine.take_out(device)
        sh(laptop, "settle 15 12")

    return deed


def put_back(*devices: str) -> Deed:
    def deed(laptop: Laptop) -> None:
        for device in devices:
            laptop.put_back(device)

    return deed


def both(*deeds: Deed) -> Deed:
    def deed(laptop: Laptop) -> None:
        for one in deeds:
            one(laptop)

    return deed


def port_reset(device: str) -> Deed:
    """Let the kernel reset a device at its port, as drivers do after errors (USBDEVFS_RESET, usbdevice_fs.h)."""

    def deed(laptop: Laptop) -> None:
        node = f"cd /sys/bus/usb/devices/{device}; printf /dev/bus/usb/%03d/%03d $(cat busnum devnum)"
        program = "import fcntl, os, sys; fcntl.ioctl(os.open(sys.argv[1], os.O_WRONLY), 0x5514)"
        sh(laptop, f'python3 -c "{program}" $({node}); settle 15 12')

    return deed


def authorized(device: str, may: int) -> Deed:
    """Let software switch a device off, or on again (Documentation/usb/authorization.rst)."""

    def deed(laptop: Laptop) -> None:
        sh(laptop, f"echo {may} >/sys/bus/usb/devices/{device}/authorized; settle 15 12")

    return deed


GIVEN_UP = "dmesg | grep -q 'unable to enumerate USB device'"
"""drivers/usb/core/hub.c: the line with which the kernel gives up on a port."""

_FOREIGN = replace(PARTS["touchpad"], product_id=0x000E, product="Unlisted Touchpad")
_CAMERA = HERON_14E.usb_parts["camera"][1]
_BESIDE_THE_TOP_CASE = frozenset({"io-cable", "io-board", "display-cable", "display-assembly", "radio-card"})

ROWS: tuple[Row, ...] = (
    Row(
        layout="Larch 13",
        name="nothing",
        deed=nothing,
        undo=nothing,
        watched=(),
        says=("Whole: all 19 expected devices are present",),
    ),
    Row(
        layout="Larch 13",
        name="keyboard and touchpad come loose",
        deed=unplugged("keyboard", "touchpad"),
        undo=plugged("keyboard", "touchpad"),
        untrue={"keyboard": ABSENT, "touchpad": ABSENT},
        watched=(("gone", ("keyboard",)), ("gone", ("touchpad",))),
        # Both are of the top case; its board's fingerprint reader and the pack's gauge come through the same flex.
        parts=frozenset({"top-case", "top-case-flex"}),
        cleared=_BESIDE_THE_TOP_CASE,
        changed=frozenset({("gone", f"{LARCH}/4.1"), ("gone", f"{LARCH}/4.2")}),
        says=("2 of 19 expected devices are missing",),
    ),
    Row(
        layout="Larch 13",
        name="the display cable makes contact only at times: the camera comes and goes five times",
        deed=flapping("camera", 5, "1-5"),
        undo=nothing,
        untrue={"camera": FLAPS},
        watched=(("gone", ("camera",)), ("came back", ("camera",))) * 5,
        parts=frozenset({"display-cable"}),
        cleared=frozenset({"top-case-flex", "io-cable", "battery-cable"}),
        steps=frozenset({"flex:display-cable", "reseat:display-cable"}),
        says=("5 times",),
    ),
    Row(
        layout="Larch 13",
        name="the pack is pulled",
        deed=pack(PULLED),
        undo=pack(0),
        untrue={"battery": ABSENT},
        watched=(("gone", ("battery",)),),
        parts=frozenset({"battery-cable", "battery-pack"}),
        # Keyboard, touchpad and fingerprint reader come through these.
        cleared=frozenset({"display-cable", "io-cable"}),
        changed=frozenset({("changed", "acpi/_SB_.BAT0")}),
    ),
    Row(
        layout="Larch 13",
        name="a pack is fitted whose gauge does not talk",
        deed=pack(PULLED, HUSHED),
        undo=pack(PULLED, 0),
        untrue={"battery": SILENT},
        parts=frozenset({"battery-pack", "battery-cable"}),
        cleared=frozenset({"display-cable", "io-cable"}),
        changed=frozenset({("changed", "acpi/_SB_.BAT0"), ("changed", "acpi/_SB_.BAT0/power_supply")}),
    ),
    Row(
        layout="Larch 13",
        name="the touchpad breaks off when it is asked who it is",
        deed=changed("touchpad", failing(device=Fault.BUS_ERROR), GIVEN_UP),
        undo=plugged("touchpad"),
        untrue={"touchpad": FAILED},
        watched=(("gone", ("touchpad",)), ("failed to enumerate", ("touchpad",))),
        parts=frozenset({"top-case", "top-case-flex"}),
        cleared=_BESIDE_THE_TOP_CASE,
        says=("-71",),  # EPROTO
    ),
    Row(
        layout="Larch 13",
        name="the keyboard answers, but not with the descriptor of its reports",
        deed=changed("keyboard", failing(report=Fault.BUS_ERROR), "dmesg | grep -q 'failed with error -71'"),
        undo=plugged("keyboard"),
        untrue={"keyboard": FAILED},
        parts=frozenset({"top-case", "top-case-flex"}),
        cleared=_BESIDE_THE_TOP_CASE,
    ),
    Row(
        layout="Larch 13",
        name="the camera falls back to full speed",
        deed=changed("camera", slower(Speed.FULL)),
        undo=plugged("camera"),
        untrue={"camera": SLOW},
        parts=frozenset({"display-cable", "display-assembly"}),
        cleared=frozenset({"top-case-flex", "io-cable", "top-case"}),
    ),
    Row(
        layout="Larch 13",
        name="another touchpad is fitted, which the profile does not list",
        deed=changed("touchpad", lambda _: _FOREIGN),
        undo=plugged("touchpad"),
        untrue={"touchpad": ("substituted", "working")},
    ),
    Row(
        layout="Larch 13",
        name="the top-case flex is open: its three USB parts are gone, the gauge silent",
        deed=both(unplugged("keyboard", "touchpad", "fingerprint-reader"), pack(PULLED, HUSHED)),
        undo=both(pack(PULLED, 0), plugged("keyboard", "touchpad", "fingerprint-reader")),
        untrue={"keyboard": ABSENT, "touchpad": ABSENT, "fingerprint-reader": ABSENT, "battery": SILENT},
        parts=frozenset({"top-case-flex"}),
        cleared=_BESIDE_THE_TOP_CASE,
        steps=frozenset({"reseat:top-case-flex"}),
        changed=frozenset(
            {
                *(("gone", f"{LARCH}/4.{port}") for port in (1, 2, 3)),
                ("changed", "acpi/_SB_.BAT0"),
                ("changed", "acpi/_SB_.BAT0/power_supply"),
            }
        ),
    ),
    Row(
        layout="Larch 13",
        name="the I/O board's cable is open",
        deed=taken_out("smart-card-reader", "card-reader", "headset-audio"),
        undo=put_back("smart-card-reader", "card-reader", "headset-audio"),
        untrue={"smart-card-reader": ABSENT, "card-reader": ABSENT, "headset-audio": ABSENT},
        watched=(("gone", ("smart-card-reader",)), ("gone", ("card-reader",)), ("gone", ("headset-audio",))),
        parts=frozenset({"io-cable", "io-board"}),
        cleared=frozenset({"top-case-flex", "top-case", "display-cable", "radio-card"}),
        steps=frozenset({"reseat:io-cable"}),
        changed=frozenset(("gone", f"{LARCH}/{port}") for port in ("4.4", "8", "9")),
    ),
    Row(
        layout="Larch 13",
        name="the fingerprint reader is switched off by software",
        deed=authorized("1-4.3", 0),
        undo=authorized("1-4.3", 1),
        untrue={"fingerprint-reader": ("impaired", "answers, but no driver holds it")},
        parts=frozenset({""}),
        steps=frozenset({"reload:fingerprint-reader"}),
    ),
    Row(
        layout="Larch 13",
        name="the kernel resets the fingerprint reader at its port, as after errors on its lines",
        deed=port_reset("1-4.3"),
        undo=nothing,
        watched=(("reset", ("fingerprint-reader",)),),
    ),
    Row(
        layout="Larch 13",
        name="twins of keyboard and fingerprint reader are plugged in outside, both their own are there",
        deed=both(in_socket("1", PARTS["keyboard"], "1-1"), in_socket("2", PARTS["fingerprint-reader"], "1-2")),
        undo=both(out_of_socket("1"), out_of_socket("2")),
        external=(("1209:0001", f"{LARCH}/1"), ("1209:0005", f"{LARCH}/2")),
        changed=frozenset({("new", f"{LARCH}/1"), ("new", f"{LARCH}/2")}),
    ),
    Row(
        layout="Larch 13",
        name="keyboard and fingerprint reader are gone, and twins with the same strings are plugged in outside",
        deed=both(
            unplugged("keyboard", "fingerprint-reader"),
            in_socket("1", PARTS["keyboard"], "1-1"),
            in_socket("2", PARTS["fingerprint-reader"], "1-2"),
        ),
        undo=both(out_of_socket("1"), out_of_socket("2"), plugged("keyboard", "fingerprint-reader")),
        untrue={"keyboard": ABSENT, "fingerprint-reader": ABSENT},
        external=(("1209:0001", f"{LARCH}/1"), ("1209:0005", f"{LARCH}/2")),
        parts=frozenset({"top-case", "top-case-flex"}),
        cleared=_BESIDE_THE_TOP_CASE,
        changed=frozenset(
            {("gone", f"{LARCH}/4.1"), ("gone", f"{LARCH}/4.3"), ("new", f"{LARCH}/1"), ("new", f"{LARCH}/2")}
        ),
    ),
    Row(
        layout="Larch 13",
        name="the internal hub fails, and takes what hangs on it along",
        deed=taken_out(HUB),
        undo=put_back(HUB),
        untrue={
            "internal-hub": ABSENT,
            **dict.fromkeys(("keyboard", "touchpad", "fingerprint-reader", "smart-card-reader"), HIDDEN),
        },
        watched=(("gone", ("internal-hub", "keyboard", "touchpad", "fingerprint-reader", "smart-card-reader")),),
        parts=frozenset({"mainboard"}),
        cleared=frozenset({"top-case-flex", "top-case", "io-cable", "io-board", "battery-cable"}),
        changed=frozenset({("gone", f"{LARCH}/4")}),
    ),
    Row(
        layout="Heron 14 E",
        name="nothing",
        deed=nothing,
        undo=nothing,
        watched=(),
        says=("Nothing wrong found, 1 of 16 expected devices unseen",),
    ),
    Row(
        layout="Heron 14 E",
        name="the camera comes loose",
        deed=unplugged("camera"),
        undo=plugged("camera"),
        untrue={"camera": ABSENT},
        watched=(("gone", ("camera",)),),
        # The panel comes through the same cable, and works.
        parts=frozenset({"display-cable", "display-assembly"}),
        cleared=frozenset({"keyboard-flex", "button-flex", "wireless-slot", "reader-cable"}),
        changed=frozenset({("gone", f"{HERON}/7")}),
    ),
    Row(
        layout="Heron 14 E",
        name="the radio's slot makes contact only at times: the radio comes and goes six times",
        deed=flapping("bluetooth", 6, "1-10"),
        undo=nothing,
        untrue={"bluetooth": FLAPS},
        watched=(("gone", ("bluetooth",)), ("came back", ("bluetooth",))) * 6,
        parts=frozenset({"wireless-slot"}),
        cleared=frozenset({"button-flex", "display-cable", "reader-cable"}),
        steps=frozenset({"flex:wireless-slot", "reseat:wireless-slot"}),
        says=("6 times",),
    ),
    Row(
        layout="Heron 14 E",
        name="the card reader falls back from SuperSpeed to high speed, on the other port of its connector",
        deed=changed("card-reader", slower(Speed.HIGH)),
        undo=plugged("card-reader"),
        untrue={"card-reader": SLOW},
        parts=frozenset({"reader-cable", "reader-board"}),
        cleared=frozenset({"button-flex", "display-cable", "wireless-slot"}),
        steps=frozenset({"reseat:reader-cable"}),
        says=(f"{HERON_FAST}/2",),
    ),
    Row(
        layout="Heron 14 E",
        name="the fingerprint reader refuses to say who it is",
        deed=changed("fingerprint-reader", failing(device=Fault.STALL), GIVEN_UP),
        undo=plugged("fingerprint-reader"),
        untrue={"fingerprint-reader": FAILED},
        watched=(("gone", ("fingerprint-reader",)), ("failed to enumerate", ("fingerprint-reader",))),
        parts=frozenset({"button-flex", "button-board"}),
        cleared=frozenset({"display-cable", "wireless-slot", "reader-cable"}),
        says=("-32",),  # EPIPE
    ),
    Row(
        layout="Heron 14 E",
        name="the pack is pulled",
        deed=pack(PULLED),
        undo=pack(0),
        untrue={"battery": ABSENT},
        watched=(("gone", ("battery",)),),
        parts=frozenset({"battery-connector", "battery-pack"}),
        cleared=frozenset({"keyboard-flex", "touchpad-flex", "display-cable"}),
        changed=frozenset({("changed", "acpi/_SB_.BAT1")}),
    ),
    Row(
        layout="Heron 14 E",
        name="a pack is fitted whose gauge does not talk",
        deed=pack(PULLED, HUSHED),
        undo=pack(PULLED, 0),
        untrue={"battery": SILENT},
        parts=frozenset({"battery-pack", "battery-connector"}),
        cleared=frozenset({"keyboard-flex", "touchpad-flex", "display-cable"}),
        changed=frozenset({("changed", "acpi/_SB_.BAT1"), ("changed", "acpi/_SB_.BAT1/power_supply")}),
    ),
    Row(
        layout="Heron 14 E",
        name="a twin of the camera is plugged into a USB-C socket, its own is there",
        deed=in_socket("left-1", _CAMERA, "3-1"),
        undo=out_of_socket("left-1"),
        external=(("1209:0007", "pci0000:00/1c.4/00.0/usb2/1"),),
        changed=frozenset({("new", "pci0000:00/1c.4/00.0/usb2/1")}),
    ),
    Row(
        layout="Heron 14 E",
        name="the camera is gone, and a twin with the same strings is plugged into a USB-C socket",
        deed=in_socket("left-1", _CAMERA, "3-1", then=unplugged("camera")),
        undo=out_of_socket("left-1", then=plugged("camera")),
        untrue={"camera": ABSENT},
        external=(("1209:0007", "pci0000:00/1c.4/00.0/usb2/1"),),
        parts=frozenset({"display-cable", "display-assembly"}),
        cleared=frozenset({"keyboard-flex", "button-flex", "wireless-slot"}),
        changed=frozenset({("gone", f"{HERON}/7"), ("new", "pci0000:00/1c.4/00.0/usb2/1")}),
    ),
    Row(
        layout="Heron 14 E",
        name="the USB-C controller fails",
        deed=taken_out("second"),
        undo=put_back("second"),
        untrue={"typec-controller": ABSENT},
        parts=frozenset({"mainboard"}),
        cleared=frozenset({"display-cable", "button-flex", "wireless-slot", "reader-cable", "battery-connector"}),
    ),
    Row(
        layout="Heron 14 E",
        name="the USB controller fails, and takes what hangs on it along",
        deed=taken_out("first"),
        undo=put_back("first"),
        untrue={
            "usb-controller": ABSENT,
            **dict.fromkeys(("camera", "fingerprint-reader", "bluetooth", "card-reader"), HIDDEN),
        },
        parts=frozenset({"mainboard"}),
        cleared=frozenset({"display-cable", "button-flex", "wireless-slot", "reader-cable", "battery-connector"}),
    ),
)
"""Every row, in the order in which the laptops go through them."""

COLD = (
    (
        "Larch 13",
        "keyboard missing and its twin outside, touchpad failing, gauge silent, camera slow (`test_virtual.py`)",
        "each of the four, the twin as external, nothing else",
    ),
    (
        "Larch 13",
        "every string means harm: USB, SMBIOS, battery; the camera is missing (`test_hostile.py`)",
        "Camera missing, nothing else; no screen, page, sheet or file name carries anything out",
    ),
    (
        "Heron 14 E",
        "the other USB controller wakes first, so that bus numbers are exchanged (`test_layouts.py`)",
        "no difference to the capture of the other start",
    ),
    (
        "Heron 14 E",
        "the PS/2 controller is dead, a USB keyboard is plugged in outside (`test_layouts.py`)",
        "Keyboard, Touchpad missing; outside: 1209:000f; likeliest Mainboard, its PS/2 controller",
    ),
)
"""By layout, what is done where only a start can show it, and what is told; the tests have the rest."""
