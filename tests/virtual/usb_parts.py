"""Invented USB devices: their descriptors, their answers to control requests, and what goes wrong in them.

Descriptors are laid out by USB 2.0 chapter 9.6, HID 1.11 section 6.2 and the
USB Video Class 1.1 section 3. Ids come from the pid.codes test range.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, IntEnum

__all__ = [
    "HELPER_KEYBOARD",
    "KEYS",
    "PARTS",
    "Endpoint",
    "Fault",
    "Interface",
    "Request",
    "Speed",
    "UsbPart",
    "answer",
]


class Speed(IntEnum):
    """Signalling speed, by the numbers that the redirection protocol gives them."""

    LOW = 0
    FULL = 1
    HIGH = 2
    SUPER = 3


class Fault(Enum):
    """How a request fails."""

    STALL = "stall"
    """The device refuses (USB 2.0, 9.2.7)."""
    BUS_ERROR = "bus error"
    """The transfer breaks off, as on a broken line; Linux reports -71 (EPROTO)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpoint:
    """One endpoint (USB 2.0, 9.6.6)."""

    address: int
    kind: int
    """Transfer type: 1 isochronous, 2 bulk, 3 interrupt."""
    size: int
    """Largest packet in bytes."""
    interval: int = 0

    def size_at(self, speed: Speed) -> int:
        """Its largest packet at a speed: at high speed and above that of a bulk endpoint is fixed (USB 3.2, 9.6.6)."""
        fixed = {Speed.HIGH: 512, Speed.SUPER: 1024}
        return fixed.get(speed, self.size) if self.kind == _BULK else self.size


@dataclass(frozen=True, slots=True, kw_only=True)
class Interface:
    """One setting of one interface (USB 2.0, 9.6.5)."""

    code: tuple[int, int, int]
    """Class, subclass, protocol."""
    number: int = 0
    alternate: int = 0
    endpoints: tuple[Endpoint, ...] = ()
    extra: bytes = b""
    """Class-specific descriptors."""
    report: bytes = b""
    """HID report descriptor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbPart:
    """An invented device."""

    product_id: int
    product: str
    interfaces: tuple[Interface, ...]
    serial: str = ""
    speed: Speed = Speed.FULL
    can: Speed = Speed.FULL
    """The speed that it is capable of."""
    code: tuple[int, int, int] = (0, 0, 0)
    associations: bytes = b""
    class_answers: Mapping[tuple[int, int], bytes] = field(default_factory=dict)
    """Answers to class requests by ``(bmRequestType, bRequest)``."""
    fails: Mapping[str, Fault] = field(default_factory=dict)
    """What goes wrong, by stage: ``device``, ``configuration``, ``string``, ``report``, ``set configuration``."""

    maker: str = "Fernhill"
    vendor_id: int = 0x1209
    release: int = 0x0100
    odd_strings: Mapping[int, bytes] = field(default_factory=dict)
    """By index, the whole descriptor of a string that is as no string should be."""

    @property
    def strings(self) -> tuple[str, ...]:
        """Its strings, the first with index 1."""
        return (self.maker, self.product, *([self.serial] if self.serial else []))

    @property
    def first_settings(self) -> tuple[Interface, ...]:
        """Its interfaces in their first setting."""
        return tuple(one for one in self.interfaces if not one.alternate)


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """The set-up packet of a control transfer (USB 2.0, table 9-2)."""

    kind: int
    code: int
    value: int
    index: int
    length: int


_CONTROL_SIZE, _BULK = 64, 2
# Binary Device Object Store (USB 3.2, 9.6.2): USB 2.0 Extension without link power management; SuperSpeed USB, at full,
# high and SuperSpeed, all that it does from full speed on.
_ABILITIES = bytes.fromhex("050f160002" + "07100200000000" + "0a1003000e00010a0000")
_GET_DESCRIPTOR, _SET_CONFIGURATION = (0x80, 6), (0x00, 9)
_GET_INTERFACE_DESCRIPTOR = (0x81, 6)
_GET_STATUS = ((0x80, 0), (0x82, 0))
_PLAIN_ORDERS = frozenset(
    {(to, code) for to in (0x00, 0x01, 0x02) for code in (1, 3, 11)}  # clear feature, set feature, set interface
    | {(0x21, code) for code in (9, 10, 11)}  # HID: set report, set idle, set protocol
)
_HID_QUESTIONS = frozenset((0xA1, code) for code in (1, 2, 3))


def answer(part: UsbPart, request: Request) -> bytes | Fault:
    """What the device says to a request: data, nothing for an order that it obeys, or a fault."""
    stage, data = _answer(part, request)
    fault = part.fails.get(stage)
    if fault is not None:
        return fault
    return Fault.STALL if data is None else data[: request.length] if request.kind & 0x80 else b""


def _answer(part: UsbPart, request: Request) -> tuple[str, bytes | None]:
    """The stage that a request belongs to, and what a healthy device answers; None for a refusal."""
    asked = (request.kind, request.code)
    if asked == _GET_DESCRIPTOR:
        return _descriptor(part, request.value >> 8, request.value & 255)
    if asked == _GET_INTERFACE_DESCRIPTOR:
        return "report", _interface_descriptor(part, request.value >> 8, request.index)
    if asked == _SET_CONFIGURATION:
        return "set configuration", b""
    if asked in _GET_STATUS or asked in _HID_QUESTIONS:
        return "", bytes(request.length)
    return "", part.class_answers.get(asked, b"" if asked in _PLAIN_ORDERS else None)


def _descriptor(part: UsbPart, kind: int, index: int) -> tuple[str, bytes | None]:
    match kind:
        case 1:
            return "device", _device_descriptor(part)
        case 2:
            return "configuration", _configuration_descriptor(part)
        case 3:
            return "string", _string_descriptor(part, index)
        case 6 if part.can is Speed.HIGH:
            return "", struct.pack("<BBH6B", 10, 6, 0x0200, *part.code, _CONTROL_SIZE, 1, 0)
        case 15 if part.can is Speed.SUPER:
            return "", _ABILITIES
        case _:
            return "", None


def _device_descriptor(part: UsbPart) -> bytes:
    serial = 3 if part.serial else 0
    names = (part.vendor_id, part.product_id, part.release, 1, 2, serial, 1)
    # A device that can do SuperSpeed says 2.1 where it runs on the USB 2 lines, and has abilities to ask for.
    version = 0x0320 if part.speed is Speed.SUPER else 0x0210 if part.can is Speed.SUPER else 0x0200
    # At SuperSpeed the size is an exponent (USB 3.2, 9.6.1).
    size = 9 if part.speed is Speed.SUPER else _CONTROL_SIZE
    return struct.pack("<BBH4B3H4B", 18, 1, version, *part.code, size, *names)


def _configuration_descriptor(part: UsbPart) -> bytes:
    body = part.associations + b"".join(_interface_bytes(one, part.speed) for one in part.interfaces)
    return struct.pack("<BBH5B", 9, 2, 9 + len(body), len(part.first_settings), 1, 0, 0x80, 50) + body


def _interface_bytes(one: Interface, speed: Speed) -> bytes:
    head = struct.pack("<9B", 9, 4, one.number, one.alternate, len(one.endpoints), *one.code, 0)
    return head + one.extra + b"".join(_endpoint_bytes(end, speed) for end in one.endpoints)


def _endpoint_bytes(end: Endpoint, speed: Speed) -> bytes:
    described = struct.pack("<4BHB", 7, 5, end.address, end.kind, end.size_at(speed), end.interval)
    # SuperSpeed Endpoint Companion (USB 3.2, 9.6.7).
    return described + bytes([6, 0x30, 0, 0, 0, 0]) if speed is Speed.SUPER else described


def _string_descriptor(part: UsbPart, index: int) -> bytes | None:
    if index in part.odd_strings:
        return part.odd_strings[index]
    if index == 0:
        return bytes.fromhex("04030904")  # one language: English (United States)
    if index > len(part.strings):
        return None
    text = part.strings[index - 1].encode("utf-16-le", "surrogatepass")
    return bytes([2 + len(text), 3]) + text


def _interface_descriptor(part: UsbPart, kind: int, number: int) -> bytes | None:
    """The HID descriptor (0x21) or the report descriptor (0x22) of an interface."""
    for one in part.interfaces:
        if one.number == number and one.report and kind in (0x21, 0x22):
            return one.report if kind == 0x22 else one.extra
    return None


def _hid(report: bytes, code: tuple[int, int, int], size: int) -> Interface:
    described = struct.pack("<BBH3BH", 9, 0x21, 0x0111, 0, 1, 0x22, len(report))
    end = Endpoint(address=0x81, kind=3, size=size, interval=7)
    return Interface(code=code, endpoints=(end,), extra=described, report=report)


# In the shape of the example keyboard of HID 1.11, appendix B.1: modifiers, five lamps, six keys.
_KEYBOARD_REPORT = bytes.fromhex(
    "05010906a101050719e029e71500250175019508810295017508810395057501050819012905910295017503910395067508150025650507"
    "190029658100c0"
)
# One contact with tip, confidence, id, X and Y; the contact count; one button; the most contacts as a feature.
_TOUCHPAD_REPORT = bytes.fromhex(
    "050d0905a1018501"
    "0922a10209420947150025017501950281029506810375089501"
    "0951250f810205011500260008751095010930810226000509318102c0"
    "050d0954250a7508950181020509090125017501950181029507"
    "8103050d85020955250575089501b102c0"
)

_FRAME = (1280, 720)


def _camera() -> UsbPart:
    """A camera of one MJPEG size: video control with two terminals, video streaming with one alternate setting."""
    terminals = bytes.fromhex("122402010102000000000000000003000000") + bytes.fromhex("092403020101000100")
    control = struct.pack("<3B2HI2B", 13, 0x24, 1, 0x0110, 13 + len(terminals), 48_000_000, 1, 1) + terminals
    pixels = _FRAME[0] * _FRAME[1]
    rates = (pixels * 8, pixels * 240, pixels * 2, 333_333)
    formats = bytes([11, 0x24, 6, 1, 1, 1, 1, 0, 0, 0, 0])
    formats += struct.pack("<5B2H4IBI", 30, 0x24, 7, 1, 0, *_FRAME, *rates, 1, 333_333)
    stream = struct.pack("<4BH8B", 14, 0x24, 1, 1, 14 + len(formats), 0x81, 0, 2, 0, 0, 0, 1, 0) + formats
    # Probe and commit controls (Video Class 1.1, table 4-75).
    probe = struct.pack("<H2BI5H3I4B", 0, 1, 1, 333_333, 0, 0, 0, 0, 0, pixels * 2, 512, 48_000_000, 0, 0, 0, 0)
    answers = {(0xA1, code): probe for code in range(0x81, 0x88)}
    answers |= {(0xA1, 0x85): b"\x22\x00", (0xA1, 0x86): b"\x03", (0x21, 1): b""}
    sending = Endpoint(address=0x81, kind=5, size=512, interval=1)
    return UsbPart(
        product_id=0x0003,
        product="Larch 720p Camera",
        serial="CAM-0001-DEMO",
        speed=Speed.HIGH,
        can=Speed.HIGH,
        code=(0xEF, 2, 1),
        associations=bytes([8, 11, 0, 2, 14, 3, 0, 0]),
        class_answers=answers,
        interfaces=(
            Interface(code=(14, 1, 0), extra=control),
            Interface(code=(14, 2, 0), number=1, extra=stream),
            Interface(code=(14, 2, 0), number=1, alternate=1, endpoints=(sending,)),
        ),
    )


def _bluetooth() -> UsbPart:
    """A Bluetooth radio (Bluetooth 5.4, volume 4, part B); it refuses its reset, so its controller stays down."""
    data = (
        Endpoint(address=0x81, kind=3, size=16, interval=1),
        Endpoint(address=0x02, kind=2, size=64),
        Endpoint(address=0x82, kind=2, size=64),
    )
    voice = (Endpoint(address=0x03, kind=1, size=0, interval=1), Endpoint(address=0x83, kind=1, size=0, interval=1))
    return UsbPart(
        product_id=0x0004,
        product="Larch Bluetooth Radio",
        code=(0xE0, 1, 1),
        interfaces=(
            Interface(code=(0xE0, 1, 1), endpoints=data),
            Interface(code=(0xE0, 1, 1), number=1, endpoints=voice),
        ),
    )


def _fingerprint_reader() -> UsbPart:
    ends = (
        Endpoint(address=0x81, kind=2, size=64),
        Endpoint(address=0x02, kind=2, size=64),
        Endpoint(address=0x83, kind=3, size=8, interval=10),
    )
    return UsbPart(
        product_id=0x0005,
        product="Larch Fingerprint Reader",
        serial="FPR-0001-DEMO",
        interfaces=(Interface(code=(0xFF, 0, 0), endpoints=ends),),
    )


def _card_reader() -> UsbPart:
    """A reader of cards at SuperSpeed, with a protocol of its own that no driver of the kernel speaks."""
    ends = (Endpoint(address=0x81, kind=_BULK, size=64), Endpoint(address=0x02, kind=_BULK, size=64))
    return UsbPart(
        product_id=0x000B,
        product="Larch Card Reader",
        serial="CRD-0001-DEMO",
        speed=Speed.SUPER,
        can=Speed.SUPER,
        interfaces=(Interface(code=(0xFF, 0, 0), endpoints=ends),),
    )


PARTS: Mapping[str, UsbPart] = {
    "keyboard": UsbPart(
        product_id=0x0001, product="Larch Internal Keyboard", interfaces=(_hid(_KEYBOARD_REPORT, (3, 1, 1), 8),)
    ),
    "touchpad": UsbPart(
        product_id=0x0002, product="Larch Touchpad", interfaces=(_hid(_TOUCHPAD_REPORT, (3, 0, 0), 16),)
    ),
    "fingerprint-reader": _fingerprint_reader(),
    "camera": _camera(),
    "bluetooth": _bluetooth(),
    "card-reader": _card_reader(),
}
"""The invented parts by name."""

HELPER_KEYBOARD = UsbPart(
    maker="Lowgate",
    product_id=0x000F,
    product="Bench Keyboard",
    interfaces=(_hid(_KEYBOARD_REPORT, (3, 1, 1), 8),),
)
"""What a technician plugs into a socket to type with."""

KEYS: Mapping[str, int] = {
    **{chr(ord("a") + number): 4 + number for number in range(26)},
    **{digit: 30 + number for number, digit in enumerate("1234567890")},
    "enter": 40,
    "escape": 41,
    "space": 44,
    "down": 81,
    "up": 82,
}
"""Usage of each key (HID Usage Tables 1.5, section 10: Keyboard/Keypad page)."""
