"""Class-specific descriptors of cameras and other video devices, releases 1.0 to 1.5.

Source: USB Video Class 1.1 sections 3.7.2 (VideoControl), 3.8.2.2 and 3.9.2
(VideoStreaming), and its payload documents for uncompressed video and MJPEG,
sections 3.1.1 and 3.1.2, read in the kernel's ``include/uapi/linux/usb/video.h``,
which names the sections. [from memory] the still image frame (section 3.9.2.5),
the frame-based format and frame (Frame Based Payload sections 3.1.1 and 3.1.2),
and that release 1.0 has no bmVideoStandards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, Iterable, Tuple

from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.layout import Layout, guid, number, numbers, octets

__all__ = ["CONTROL", "ENDPOINT", "STREAMING", "TERMINAL_TYPES", "Frame", "frames", "input_terminal_layout"]

_CAMERA = 0x0201
_INPUT_TERMINAL = 0x02
_CONTROLS = (number("bControlSize"), octets("bmControls", "bControlSize"))
_TERMINAL = (number("bTerminalID"), number("wTerminalType", 2), number("bAssocTerminal"))
_CAMERA_TERMINAL = Layout(
    "camera terminal",
    (
        *_TERMINAL,
        number("iTerminal"),
        number("wObjectiveFocalLengthMin", 2),
        number("wObjectiveFocalLengthMax", 2),
        number("wOcularFocalLength", 2),
        *_CONTROLS,
    ),
)

CONTROL: Dict[int, Layout] = {
    0x01: Layout(
        "video control header",
        (
            number("bcdUVC", 2),
            number("wTotalLength", 2),
            number("dwClockFrequency", 4),
            number("bInCollection"),
            numbers("baInterfaceNr", 1, "bInCollection"),
        ),
    ),
    _INPUT_TERMINAL: Layout("input terminal", (*_TERMINAL, number("iTerminal"))),
    0x03: Layout("output terminal", (*_TERMINAL, number("bSourceID"), number("iTerminal"))),
    0x04: Layout(
        "selector unit",
        (number("bUnitID"), number("bNrInPins"), numbers("baSourceID", 1, "bNrInPins"), number("iSelector")),
    ),
    0x05: Layout(
        "processing unit",
        (
            number("bUnitID"),
            number("bSourceID"),
            number("wMaxMultiplier", 2),
            *_CONTROLS,
            number("iProcessing"),
            number("bmVideoStandards", optional=True),
        ),
    ),
    0x06: Layout(
        "extension unit",
        (
            number("bUnitID"),
            guid("guidExtensionCode"),
            number("bNumControls"),
            number("bNrInPins"),
            numbers("baSourceID", 1, "bNrInPins"),
            *_CONTROLS,
            number("iExtension"),
        ),
    ),
}
"""VideoControl, by bDescriptorSubType; a camera terminal is found by ``input_terminal_layout``."""

_FORMAT_CONTROLS = octets("bmaControls", lambda known: known["bNumFormats"] * known["bControlSize"])
_ASPECT = (
    number("bDefaultFrameIndex"),
    number("bAspectRatioX"),
    number("bAspectRatioY"),
    number("bmInterfaceFlags"),
    number("bCopyProtect"),
)
_SIZE = (
    number("bFrameIndex"),
    number("bmCapabilities"),
    number("wWidth", 2),
    number("wHeight", 2),
    number("dwMinBitRate", 4),
    number("dwMaxBitRate", 4),
)
# bFrameIntervalType 0: not a list but the shortest, the longest and the step between.
_INTERVALS = numbers("dwFrameInterval", 4, lambda known: known["bFrameIntervalType"] or 3)
_FRAME = (
    *_SIZE,
    number("dwMaxVideoFrameBufferSize", 4),
    number("dwDefaultFrameInterval", 4),
    number("bFrameIntervalType"),
    _INTERVALS,
)
_UNCOMPRESSED = (number("bFormatIndex"), number("bNumFrameDescriptors"), guid("guidFormat"), number("bBitsPerPixel"))

STREAMING: Dict[int, Layout] = {
    0x01: Layout(
        "video input header",
        (
            number("bNumFormats"),
            number("wTotalLength", 2),
            number("bEndpointAddress"),
            number("bmInfo"),
            number("bTerminalLink"),
            number("bStillCaptureMethod"),
            number("bTriggerSupport"),
            number("bTriggerUsage"),
            number("bControlSize"),
            _FORMAT_CONTROLS,
        ),
    ),
    0x02: Layout(
        "video output header",
        (
            number("bNumFormats"),
            number("wTotalLength", 2),
            number("bEndpointAddress"),
            number("bTerminalLink"),
            number("bControlSize"),
            _FORMAT_CONTROLS,
        ),
    ),
    0x03: Layout(
        "still image frame",
        (
            number("bEndpointAddress"),
            number("bNumImageSizePatterns"),
            # Each is wWidth, then wHeight.
            numbers("wWidthHeight", 2, lambda known: 2 * known["bNumImageSizePatterns"]),
            number("bNumCompressionPattern"),
            numbers("bCompression", 1, "bNumCompressionPattern"),
        ),
    ),
    0x04: Layout("uncompressed format", (*_UNCOMPRESSED, *_ASPECT)),
    0x05: Layout("uncompressed frame", _FRAME),
    0x06: Layout("MJPEG format", (number("bFormatIndex"), number("bNumFrameDescriptors"), number("bmFlags"), *_ASPECT)),
    0x07: Layout("MJPEG frame", _FRAME),
    0x0D: Layout(
        "colour matching",
        (number("bColorPrimaries"), number("bTransferCharacteristics"), number("bMatrixCoefficients")),
    ),
    0x10: Layout("frame-based format", (*_UNCOMPRESSED, *_ASPECT, number("bVariableSize"))),
    0x11: Layout(
        "frame-based frame",
        (
            *_SIZE,
            number("dwDefaultFrameInterval", 4),
            number("bFrameIntervalType"),
            number("dwBytesPerLine", 4),
            _INTERVALS,
        ),
    ),
}
"""VideoStreaming, by bDescriptorSubType."""

ENDPOINT: Dict[int, Layout] = {0x03: Layout("video interrupt endpoint", (number("wMaxTransferSize", 2),))}
"""By bDescriptorSubType."""

TERMINAL_TYPES: Dict[int, str] = {
    0x0100: "vendor-specific USB terminal",
    0x0101: "USB streaming",
    0x0200: "vendor-specific input",
    0x0201: "camera",
    0x0202: "media transport input",
    0x0300: "vendor-specific output",
    0x0301: "display",
    0x0302: "media transport output",
    0x0400: "vendor-specific external terminal",
    0x0401: "composite connector",
    0x0402: "S-video connector",
    0x0403: "component connector",
}
"""By wTerminalType."""

_FRAMES = ("uncompressed frame", "MJPEG frame", "frame-based frame")
_INTERVALS_A_SECOND = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A picture size that a camera offers."""

    width: int
    """Pixels."""
    height: int
    """Pixels."""
    payload: str
    """How the picture is sent, ``uncompressed``, ``MJPEG`` or ``frame-based``."""
    fastest_hz: float | None
    """Pictures a second at the shortest interval; None when it gives none."""


def input_terminal_layout(data: bytes) -> Layout | None:
    """The layout of a camera terminal when ``data`` is one, else None.

    It shares its subtype with the other input terminals; wTerminalType tells (section 3.7.2.3).
    """
    is_camera = data[2:3] == bytes([_INPUT_TERMINAL]) and data[4:6] == _CAMERA.to_bytes(2, "little")
    return _CAMERA_TERMINAL if is_camera else None


def frames(descriptors: Iterable[ClassDescriptor]) -> Tuple[Frame, ...]:
    """The picture sizes among VideoStreaming descriptors, in their order. Intervals are in units of 100 ns."""
    found = []
    for descriptor in descriptors:
        width, height = descriptor.number("wWidth"), descriptor.number("wHeight")
        if descriptor.name in _FRAMES and width is not None and height is not None:
            shortest = min((interval for interval in _shortest(descriptor) if interval), default=0)
            found.append(
                Frame(
                    width=width,
                    height=height,
                    payload=descriptor.name.partition(" ")[0],
                    fastest_hz=_INTERVALS_A_SECOND / shortest if shortest else None,
                )
            )
    return tuple(found)


def _shortest(descriptor: ClassDescriptor) -> Tuple[int, ...]:
    """The intervals to choose from; of a range only the shortest, since its step is no interval."""
    intervals = descriptor.numbers("dwFrameInterval")
    return intervals if descriptor.number("bFrameIntervalType") else intervals[:1]
