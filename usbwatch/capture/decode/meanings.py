"""What the value of a USB descriptor's field stands for, in words, where a table or a unit says it.

By the field's own name; a name that means different things in different
descriptors (``bmAttributes``) by the descriptor's name too. Sources stand at
the tables; what has none is in the module that has the descriptor's layout.
"""

from __future__ import annotations

from typing import Callable, Dict, Tuple

from usbwatch.capture.decode import usb_audio, usb_video
from usbwatch.capture.decode.class_values import FieldValue
from usbwatch.capture.decode.usb_bos import CAPABILITIES, PLATFORMS
from usbwatch.capture.decode.usb_classes import class_name
from usbwatch.capture.decode.usb_standard import DESCRIPTOR_TYPES

__all__ = ["meaning"]

_Words = Callable[[int], str]
_Bits = Tuple[Tuple[int, str], ...]

_TRANSFERS = ("control", "isochronous", "bulk", "interrupt")
_SYNCHRONISATIONS = ("", ", asynchronous", ", adaptive", ", synchronous")

_CONFIGURATION_BITS: _Bits = ((0x40, "self-powered"), (0x20, "can wake the host"))
_EXTENSION_BITS: _Bits = ((0x02, "link power management"), (0x04, "best effort service latency"))
_SUPERSPEED_BITS: _Bits = ((0x02, "latency tolerance messages"),)
_SPEED_BITS: _Bits = ((0x01, "1.5 Mbit/s"), (0x02, "12 Mbit/s"), (0x04, "480 Mbit/s"), (0x08, "5 Gbit/s"))
_VOLTAGE_BITS: _Bits = ((0x01, "5 V"), (0x02, "3 V"), (0x04, "1.8 V"))
_PROTOCOL_BITS: _Bits = ((0x01, "T=0"), (0x02, "T=1"))
_LANE_UNITS = ("bit/s", "kbit/s", "Mbit/s", "Gbit/s")
_INTERVALS_A_SECOND = 10_000_000


def _release(value: int) -> str:
    """A binary coded decimal: ``0x0210`` is release 2.10."""
    return f"release {value >> 8:x}.{value & 0xFF:02x}"


def _bits(bits: _Bits) -> _Words:
    return lambda value: ", ".join(word for bit, word in bits if value & bit)


def _endpoint_address(value: int) -> str:
    return f"endpoint {value & 0x0F}, {'in' if value & 0x80 else 'out'}"


def _endpoint_attributes(value: int) -> str:
    """USB 2.0 table 9-13."""
    kind = _TRANSFERS[value & 0x03]
    return kind + (_SYNCHRONISATIONS[value >> 2 & 0x03] if kind == "isochronous" else "")


def _packet(value: int) -> str:
    """USB 2.0 table 9-13: bits 12 and 11 are further packets in a microframe, at high speed."""
    more = value >> 11 & 0x03
    return f"{value & 0x07FF} bytes" + (f", {more + 1} in a microframe" if more else "")


def _string(value: int) -> str:
    return f"string {value}" if value else "no string"


def _sublink(value: int) -> str:
    """``USB_SSP_SUBLINK_SPEED_*`` in ch9.h."""
    direction = "out" if value & 0x80 else "in"
    return f"{value >> 16 & 0xFF} {_LANE_UNITS[value >> 4 & 0x03]} a lane, {direction}"


def _interval(value: int) -> str:
    return f"{_INTERVALS_A_SECOND / value:.2f} pictures a second" if value else ""


def _unit(text: str, times: int = 1) -> _Words:
    return lambda value: f"{value * times} {text}"


def _packets(value: int) -> str:
    return f"{value + 1} packets a burst" if value else "1 packet a burst"


_BY_FIELD: Dict[str, _Words] = {
    **dict.fromkeys(("bDeviceClass", "bInterfaceClass", "bFunctionClass"), class_name),
    "bDescriptorType": lambda value: DESCRIPTOR_TYPES.get(value, ""),
    "bDevCapabilityType": lambda value: CAPABILITIES[value].name if value in CAPABILITIES else "",
    "bEndpointAddress": _endpoint_address,
    "bMaxBurst": _packets,
    "bVoltageSupport": _bits(_VOLTAGE_BITS),
    "bmSublinkSpeedAttr": _sublink,
    "dwClockFrequency": _unit("Hz"),
    "dwDataRate": _unit("bit/s"),
    "dwDefaultClock": _unit("kHz"),
    "dwDefaultFrameInterval": _interval,
    "dwFrameInterval": _interval,
    "dwMaxDataRate": _unit("bit/s"),
    "dwMaximumClock": _unit("kHz"),
    "dwProtocols": _bits(_PROTOCOL_BITS),
    "tSamFreq": _unit("Hz"),
    "wDetachTimeOut": _unit("ms"),
    "wMaxPacketSize": _packet,
    "wSpeedSupported": _bits(_SPEED_BITS),
}
_BY_DESCRIPTOR: Dict[Tuple[str, str], _Words] = {
    ("configuration", "bmAttributes"): _bits(_CONFIGURATION_BITS),
    ("other speed configuration", "bmAttributes"): _bits(_CONFIGURATION_BITS),
    ("endpoint", "bmAttributes"): _endpoint_attributes,
    ("USB 2.0 extension", "bmAttributes"): _bits(_EXTENSION_BITS),
    ("SuperSpeed", "bmAttributes"): _bits(_SUPERSPEED_BITS),
    ("HID", "bCountryCode"): lambda value: "" if value else "not localised",
}
_TERMINALS = {"audio": usb_audio.TERMINAL_TYPES, "camera": usb_video.TERMINAL_TYPES}


def meaning(descriptor: str, field: str, value: FieldValue, *, family: str = "", superspeed: bool = False) -> str:
    """What a field's value stands for, "" where nothing is known. Raises nothing.

    ``family`` is the class whose descriptors these are (``class_specific``);
    ``superspeed`` says that bMaxPower counts in 8 mA instead of 2
    (``usb_get_max_power`` in drivers/usb/core/usb.h).
    """
    if isinstance(value, str):
        return _of_text(field, value)
    if isinstance(value, tuple):
        return ", ".join(filter(None, (meaning(descriptor, field, one, family=family) for one in value)))
    if field == "bMaxPower":
        return f"{value * (8 if superspeed else 2)} mA"
    if field == "bDescriptorSubType":
        return descriptor
    if field == "wTerminalType":
        return _TERMINALS.get(family, {}).get(value, "")
    return _words(descriptor, field)(value)


def _words(descriptor: str, field: str) -> _Words:
    words = _BY_DESCRIPTOR.get((descriptor, field)) or _BY_FIELD.get(field)
    if words is not None:
        return words
    if field.startswith("bcd"):
        return _release
    return _string if field[:1] == "i" and field[1:2].isupper() else lambda _value: ""


def _of_text(field: str, value: str) -> str:
    """A GUID that is known; of a picture format the four letters that its GUID begins with."""
    if field == "guidFormat":
        letters = bytes.fromhex(value[:8])[::-1]
        return letters.decode("ascii") if letters.isalnum() else ""
    return PLATFORMS.get(value, "") if field == "PlatformCapabilityUUID" else ""
