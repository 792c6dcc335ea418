"""HID devices and input nodes as the kernel shows them, with invented identities.

Bitmaps, names and uevents: drivers/input/input.c and drivers/hid/hid-core.c.
The keyboard's report is that of HID 1.11 appendix E.6 (with the constant
flags of Documentation/usb/gadget_hid.rst), the mouse's that of E.10, both
read in reproductions; the rest is our own construction.
"""

from __future__ import annotations

from dataclasses import dataclass

from support.tree.writer import Writer

__all__ = ["HID_KINDS", "INPUT_KINDS", "HidKind", "InputKind", "hid_device", "input_node"]


@dataclass(frozen=True, slots=True, kw_only=True)
class InputKind:
    """The bitmaps of one sort of input node, as hex words, and its properties."""

    ev: str
    key: str = "0"
    rel: str = "0"
    abs: str = "0"
    msc: str = "0"
    led: str = "0"
    sw: str = "0"
    properties: str = "0"
    mouse: bool = False
    """Whether mousedev takes it too."""


INPUT_KINDS = {
    "at-keyboard": InputKind(
        ev="120013", key="402000002 3803078f800d001 feffffdfffefffff fffffffffffffffe", msc="10", led="7"
    ),
    "ps2-mouse": InputKind(ev="7", key="1f0000 0 0 0 0", rel="143", properties="1", mouse=True),
    "ps2-touchpad": InputKind(ev="b", key="e520 10000 0 0 0 0", abs="660800011000003", properties="5", mouse=True),
    "pointing-stick": InputKind(ev="7", key="70000 0 0 0 0", rel="3", properties="21", mouse=True),
    "lid": InputKind(ev="21", sw="1"),
    "power-button": InputKind(ev="3", key="10000000000000 0"),
    "keyboard": InputKind(ev="120013", key="e080ffdf01cfffff fffffffffffffffe", msc="10", led="1f"),
    "touchpad": InputKind(ev="b", key="e520 10000 0 0 0 0", abs="260800000000003", properties="5", mouse=True),
    "touchscreen": InputKind(ev="b", key="400 0 0 0 0 0", abs="260800000000003", properties="2", mouse=True),
    "mouse": InputKind(ev="17", key="70000 0 0 0 0", rel="3", msc="10", mouse=True),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HidKind:
    """A sort of HID device: its report descriptor, the driver that takes it, its input node."""

    report: bytes
    driver: str
    makes: str


_KEYBOARD = (
    "05010906a101050719e029e71500250175019508810295017508810395057501050819012905910295017503910395067508150025650507"
    "190029658100c0"
)
_MOUSE = "05010902a1010901a100050919012903150025019503750181029501750581010501093009311581257f750895028106c0c0"
_CONTACT = "a102094709421500250175019502810295068103750895010951250f810205011500260008751095010930810226000509318102c0"
_TOUCHPAD = (
    f"050d0905a10185010922{_CONTACT}"
    "050d0954250a75089501810205090901250175019501810295078103"
    "050d85020955250575089501b102c0"
)
_TOUCHSCREEN = f"050d0904a10185010922{_CONTACT}050d0954250a750895018102c0"

HID_KINDS = {
    "keyboard": HidKind(report=bytes.fromhex(_KEYBOARD), driver="hid-generic", makes="keyboard"),
    "mouse": HidKind(report=bytes.fromhex(_MOUSE), driver="hid-generic", makes="mouse"),
    "touchpad": HidKind(report=bytes.fromhex(_TOUCHPAD), driver="hid-multitouch", makes="touchpad"),
    "touchscreen": HidKind(report=bytes.fromhex(_TOUCHSCREEN), driver="hid-multitouch", makes="touchscreen"),
}

Ids = tuple[int, int, int, int]
"""Bus type, vendor, product, version (include/uapi/linux/input.h)."""

_BITMAPS = ("ev", "key", "rel", "abs", "msc", "led", "snd", "ff", "sw")
_MODALIAS = (("e", "ev", 0), ("k", "key", 0x71), ("r", "rel", 0), ("a", "abs", 0), ("m", "msc", 0), ("l", "led", 0))
_FIRST_MOUSE, _FIRST_EVENT, _LAST_EVENT = 32, 64, 31


def _bits(words: str) -> list[int]:
    """Numbers of the bits set in hex words of 64 bits, most significant first."""
    value = 0
    for word in words.split():
        value = value << 64 | int(word, 16)
    return [bit for bit in range(value.bit_length()) if value >> bit & 1]


def _modalias(kind: InputKind, ids: Ids) -> str:
    text = "input:b{:04X}v{:04X}p{:04X}e{:04X}-".format(*ids)
    for letter, name, first in _MODALIAS:
        text += letter + "".join(f"{bit:X}," for bit in _bits(getattr(kind, name)) if bit >= first)
    return f"{text}sfw" + "".join(f"{bit:X}," for bit in _bits(kind.sw))


def _uevent(kind: InputKind, ids: Ids, name: str, phys: str, uniq: str | None) -> str:
    lines = ["PRODUCT={:x}/{:x}/{:x}/{:x}".format(*ids), f'NAME="{name}"', f'PHYS="{phys}"']
    lines += [f'UNIQ="{uniq}"'] if uniq is not None else []
    lines += [f"PROP={kind.properties}", f"EV={kind.ev}"]
    maps = ((name.upper(), getattr(kind, name)) for name in ("key", "rel", "abs", "msc", "led", "sw"))
    lines += [f"{label}={words}" for label, words in maps if words != "0"]
    return "\n".join([*lines, f"MODALIAS={_modalias(kind, ids)}", ""])


def input_node(
    writer: Writer, parent: str, kind: InputKind, *, name: str, phys: str, ids: Ids, uniq: str | None = None
) -> str:
    """An input node of the device at ``parent``, with its event (and mouse) node; its folder comes back."""
    number, event = writer.number("input"), writer.number("event")
    folder = f"{parent}/input/input{number}"
    writer.class_device(
        folder,
        "input",
        parent,
        uevent=_uevent(kind, ids, name, phys, uniq),
        name=name,
        phys=phys,
        uniq=uniq or "",
        properties=kind.properties,
        inhibited=0,
        modalias=_modalias(kind, ids),
    )
    writer.attributes(f"{folder}/capabilities", **{bitmap: getattr(kind, bitmap, "0") for bitmap in _BITMAPS})
    labels = ("bustype", "vendor", "product", "version")
    writer.attributes(f"{folder}/id", **{label: f"{value:04x}" for label, value in zip(labels, ids, strict=True)})
    _handler(writer, folder, f"event{event}", _FIRST_EVENT + event)
    if kind.mouse:
        mouse = writer.number("mouse")
        _handler(writer, folder, f"mouse{mouse}", _FIRST_MOUSE + mouse)
    _proc_block(writer, folder, kind, name=name, phys=phys, ids=ids, uniq=uniq or "")
    return folder


def _handler(writer: Writer, folder: str, name: str, minor: int) -> None:
    uevent = f"MAJOR=13\nMINOR={minor}\nDEVNAME=input/{name}\n"
    writer.class_device(f"{folder}/{name}", "input", folder, uevent=uevent, dev=f"13:{minor}")


def _proc_block(writer: Writer, folder: str, kind: InputKind, *, name: str, phys: str, ids: Ids, uniq: str) -> None:
    """The node's block of /proc/bus/input/devices (drivers/input/input.c)."""
    handlers = " ".join(
        entry for entry in sorted(path.name for path in (writer.root / folder).iterdir()) if entry[-1].isdigit()
    )
    lines = [
        "I: Bus={:04x} Vendor={:04x} Product={:04x} Version={:04x}".format(*ids),
        f'N: Name="{name}"',
        f"P: Phys={phys}",
        f"S: Sysfs=/{folder.removeprefix('sys/')}",
        f"U: Uniq={uniq}",
        f"H: Handlers={handlers} ",
        f"B: PROP={kind.properties}",
        f"B: EV={kind.ev}",
    ]
    maps = ((label.upper(), getattr(kind, label)) for label in ("key", "rel", "abs", "msc", "led", "sw"))
    lines += [f"B: {label}={words}" for label, words in maps if words != "0"]
    path = writer.root / "proc/bus/input/devices"
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a") as file:
        file.write("\n".join([*lines, "", ""]))


def hid_device(
    writer: Writer, parent: str, kind: HidKind, *, bus: int, vendor: int, product: int, name: str, phys: str
) -> str:
    """A HID device of the interface or client at ``parent``, with its input and hidraw nodes; its folder comes back."""
    number, raw = writer.number("hid", 1), writer.number("hidraw")
    group = 2 if kind.driver == "hid-multitouch" else 1
    folder = f"{parent}/{bus:04X}:{vendor:04X}:{product:04X}.{number:04X}"
    modalias = f"hid:b{bus:04X}g{group:04X}v{vendor:08X}p{product:08X}"
    identity = f"{bus:04X}:{vendor:08X}:{product:08X}"
    uevent = f"HID_ID={identity}\nHID_NAME={name}\nHID_PHYS={phys}\nHID_UNIQ=\nMODALIAS={modalias}\n"
    writer.bus_device(
        folder,
        "hid",
        driver=kind.driver,
        uevent=uevent,
        country="00",
        modalias=modalias,
        report_descriptor=kind.report,
    )
    input_node(
        writer, folder, INPUT_KINDS[kind.makes], name=name, phys=phys, ids=(bus, vendor, product, 0x0111), uniq=""
    )
    writer.class_device(
        f"{folder}/hidraw/hidraw{raw}",
        "hidraw",
        folder,
        uevent=f"MAJOR=246\nMINOR={raw}\nDEVNAME=hidraw{raw}\n",
        dev=f"246:{raw}",
    )
    return folder
