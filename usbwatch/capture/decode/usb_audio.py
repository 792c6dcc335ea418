"""Class-specific descriptors of audio devices, release 1.0.

Source: USB Audio Class 1.0 sections 4.3.2 (AudioControl) and 4.5 and 4.6
(AudioStreaming), its Data Formats 1.0 section 2.2.5 and its Terminal Types
1.0, all read in the kernel's ``include/uapi/linux/usb/audio.h``, which names
most of the sections. [from memory] what follows baSourceID in the mixer,
processing and extension units (sections 4.3.2.3, 4.3.2.6, 4.3.2.7), and the names of the
terminal types from 0x500 on. Releases 2.0 and 3.0 (bInterfaceProtocol 0x20 and 0x30) have
layouts of their own and are kept as they came.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, Iterable, Tuple

from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.layout import Layout, number, numbers, octets, to_end

__all__ = ["CONTROL", "ENDPOINT", "STREAMING", "TERMINAL_TYPES", "Terminal", "format_layout", "terminals"]

_UNIT_TAIL = (
    number("bNrChannels"),
    number("wChannelConfig", 2),
    number("iChannelNames"),
    number("bControlSize"),
    octets("bmControls", "bControlSize"),
)

CONTROL: Dict[int, Layout] = {
    0x01: Layout(
        "audio control header",
        (
            number("bcdADC", 2),
            number("wTotalLength", 2),
            number("bInCollection"),
            numbers("baInterfaceNr", 1, "bInCollection"),
        ),
    ),
    0x02: Layout(
        "input terminal",
        (
            number("bTerminalID"),
            number("wTerminalType", 2),
            number("bAssocTerminal"),
            number("bNrChannels"),
            number("wChannelConfig", 2),
            number("iChannelNames"),
            number("iTerminal"),
        ),
    ),
    0x03: Layout(
        "output terminal",
        (
            number("bTerminalID"),
            number("wTerminalType", 2),
            number("bAssocTerminal"),
            number("bSourceID"),
            number("iTerminal"),
        ),
    ),
    0x04: Layout(
        "mixer unit",
        (
            number("bUnitID"),
            number("bNrInPins"),
            numbers("baSourceID", 1, "bNrInPins"),
            number("bNrChannels"),
            number("wChannelConfig", 2),
            number("iChannelNames"),
            octets("bmControls", to_end(but=1)),
            number("iMixer"),
        ),
    ),
    0x05: Layout(
        "selector unit",
        (number("bUnitID"), number("bNrInPins"), numbers("baSourceID", 1, "bNrInPins"), number("iSelector")),
    ),
    0x06: Layout(
        "feature unit",
        (
            number("bUnitID"),
            number("bSourceID"),
            number("bControlSize"),
            octets("bmaControls", to_end(but=1)),
            number("iFeature"),
        ),
    ),
    0x07: Layout(
        "processing unit",
        (
            number("bUnitID"),
            number("wProcessType", 2),
            number("bNrInPins"),
            numbers("baSourceID", 1, "bNrInPins"),
            *_UNIT_TAIL,
            number("iProcessing"),
            octets("ProcessSpecific", to_end()),
        ),
    ),
    0x08: Layout(
        "extension unit",
        (
            number("bUnitID"),
            number("wExtensionCode", 2),
            number("bNrInPins"),
            numbers("baSourceID", 1, "bNrInPins"),
            *_UNIT_TAIL,
            number("iExtension"),
        ),
    ),
}
"""AudioControl, by bDescriptorSubType."""

_FORMAT = 0x02
STREAMING: Dict[int, Layout] = {
    0x01: Layout("audio stream", (number("bTerminalLink"), number("bDelay"), number("wFormatTag", 2))),
}
"""AudioStreaming, by bDescriptorSubType; formats are found by ``format_layout``."""

_FORMATS = {
    0x01: Layout(
        "format type I",
        (
            number("bFormatType"),
            number("bNrChannels"),
            number("bSubframeSize"),
            number("bBitResolution"),
            number("bSamFreqType"),
            # 0: not a list but a range, of its lowest and its highest.
            numbers("tSamFreq", 3, lambda known: known["bSamFreqType"] or 2),
        ),
    ),
    0x02: Layout(
        "format type II",
        (
            number("bFormatType"),
            number("wMaxBitRate", 2),
            number("wSamplesPerFrame", 2),
            number("bSamFreqType"),
            numbers("tSamFreq", 3, lambda known: known["bSamFreqType"] or 2),
        ),
    ),
}
"""By bFormatType."""

ENDPOINT: Dict[int, Layout] = {
    0x01: Layout("audio stream endpoint", (number("bmAttributes"), number("bLockDelayUnits"), number("wLockDelay", 2))),
}
"""Of an isochronous endpoint, by bDescriptorSubType."""

TERMINAL_TYPES: Dict[int, str] = {
    0x0100: "USB terminal",
    0x0101: "USB streaming",
    0x01FF: "vendor-specific USB terminal",
    0x0200: "input",
    0x0201: "microphone",
    0x0202: "desktop microphone",
    0x0203: "personal microphone",
    0x0204: "omnidirectional microphone",
    0x0205: "microphone array",
    0x0206: "processing microphone array",
    0x0300: "output",
    0x0301: "speaker",
    0x0302: "headphones",
    0x0303: "head-mounted display audio",
    0x0304: "desktop speaker",
    0x0305: "room speaker",
    0x0306: "communication speaker",
    0x0307: "low-frequency effects speaker",
    0x0400: "input and output",
    0x0401: "handset",
    0x0402: "headset",
    0x0403: "speakerphone",
    0x0404: "echo-suppressing speakerphone",
    0x0405: "echo-cancelling speakerphone",
    0x0500: "telephony",
    0x0600: "external",
    0x0601: "analogue connector",
    0x0602: "digital audio interface",
    0x0603: "line connector",
    0x0604: "legacy audio connector",
    0x0605: "S/PDIF interface",
    0x0700: "embedded",
}
"""By wTerminalType."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Terminal:
    """Where sound enters or leaves an audio function."""

    terminal_id: int
    terminal_type: int
    """wTerminalType."""
    name: str
    """Of the type, "" for one that is not known."""
    is_input: bool
    """Whether sound enters the function here; a microphone's does, and so does what the host plays."""
    channel_count: int | None
    """bNrChannels; None for an output terminal, which has as many as its source."""


def format_layout(data: bytes) -> Layout | None:
    """The layout of a format descriptor, by the bFormatType in it; None for another descriptor or type."""
    if len(data) < 4 or data[2] != _FORMAT:  # noqa: PLR2004  bLength, bDescriptorType, bDescriptorSubType, bFormatType
        return None
    # Type III is laid out as type I (Data Formats 1.0 section 2.4.1, from memory).
    return _FORMATS.get(0x01 if data[3] == 0x03 else data[3])  # noqa: PLR2004


def terminals(descriptors: Iterable[ClassDescriptor]) -> Tuple[Terminal, ...]:
    """The terminals among AudioControl descriptors, in their order."""
    return tuple(
        Terminal(
            terminal_id=descriptor.number("bTerminalID") or 0,
            terminal_type=kind,
            name=TERMINAL_TYPES.get(kind, ""),
            is_input=descriptor.name == "input terminal",
            channel_count=descriptor.number("bNrChannels"),
        )
        for descriptor in descriptors
        if descriptor.name in ("input terminal", "output terminal")
        and (kind := descriptor.number("wTerminalType")) is not None
    )
