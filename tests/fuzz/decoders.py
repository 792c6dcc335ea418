"""Targets: the decoders of what devices and firmware send. Bytes in, values out; none of them refuses anything."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from fuzz.target import Broken, Target, clean, told_apart
from support.hex_files import bytes_of

from usbwatch.capture import to_json
from usbwatch.capture.decode import class_specific, edid, hid_report, smbios, usb_bos, usb_descriptors, usb_hub
from usbwatch.capture.decode.smbios_type10 import onboard_devices
from usbwatch.capture.decode.unfold import BLOCKS, unfold
from usbwatch.capture.decode.usb_audio import terminals
from usbwatch.capture.decode.usb_ccid import card_reader
from usbwatch.capture.decode.usb_video import frames
from usbwatch.capture.saved import parse
from usbwatch.capture.signs import signs_in
from usbwatch.capture.usb_described import described
from usbwatch.model import Capture, Kind, Node, Rung, System, UnitStrings
from usbwatch.show import json_text, plain
from usbwatch.show.decode_view import decode_document, decode_view

__all__ = ["TARGETS"]

_DATA = Path(__file__).parents[1] / "capture" / "decode" / "data"
BOS = bytes.fromhex(
    "050f3a0003071002060000001410 0a000100000000110000 34400a00b4400a00"
    "1a100500df60ddd88945c74c9cd2659d9e648a9f00000306b200".replace(" ", "")
)
"""Two capabilities and a platform's, constructed by linux/usb/ch9.h."""
HUB = bytes.fromhex("0929040d0032640eff")


def _files(pattern: str) -> Callable[[], Iterable[bytes]]:
    def seeds() -> Iterable[bytes]:
        found = [bytes_of(path) for path in sorted(_DATA.rglob(pattern))]
        assert found, pattern
        return found

    return seeds


def _placed(value: object, length: int) -> None:
    """Each defect names a place within the input and a problem that can be shown. Raises ``Broken``."""
    defects = getattr(value, "defects", ())
    if any(not 0 <= one.offset <= length or not one.problem for one in defects):
        raise Broken(f"a defect stands nowhere: {defects}")
    clean("".join(one.problem for one in defects))


def _unfolded(name: str, data: bytes) -> None:
    """Each byte stands in one row, and each meaning can be shown. Raises ``Broken``."""
    rows = [row for piece in unfold(name, data) for row in piece.rows]
    if sum(row.length for row in rows) != len(data):
        raise Broken(f"of {len(data)} bytes of {name} the rows have {sum(row.length for row in rows)}")


def _in_a_capture(data: bytes) -> None:
    """A block that the first byte picks, as it goes into a file and back, on the screen and into JSON."""
    names = sorted(BLOCKS)
    raw = {names[one[0] % len(names)]: one[1:].hex() for one in told_apart(data, 2) if one}
    node = Node(bus="usb", location="pci0000:00/14.0/usb2/1", kind=Kind.DEVICE, rung=Rung.WORKING, raw=raw)
    capture = Capture(
        taken_at="", tool="", system=System(platform="linux"), unit=UnitStrings(), coverage=(), nodes=(node,)
    )
    if parse(to_json(capture).encode(), "it") != capture:
        raise Broken("the file does not give back what was written")
    clean(plain(decode_view(capture.nodes, 80), 80))
    clean(json_text(decode_document(capture, capture.nodes)))


def _descriptors(data: bytes) -> None:
    found = usb_descriptors.decode(data)
    specific = class_specific.decode(found)
    _placed(found, len(data))
    _placed(specific, len(data))
    every = [one.descriptor for one in specific.placed]
    terminals(every)
    frames(every)
    for one in every:
        card_reader(one)
    _unfolded("descriptors", data)


def _described(data: bytes) -> None:
    descriptors, bos = told_apart(data, 2)
    told = described(descriptors, bos)
    _placed(told, max(len(descriptors), len(bos)))


def _bos(data: bytes) -> None:
    _placed(usb_bos.decode(data), len(data))
    _unfolded("bos_descriptors", data)


def _hub(data: bytes) -> None:
    descriptor, defects = usb_hub.decode(data)
    if descriptor is not None:
        usb_hub.hub(descriptor)
    clean("".join(one.problem for one in defects))


def _report(data: bytes) -> None:
    found = hid_report.decode(data)
    _placed(found, len(data))
    clean(" ".join(hid_report.functions_of(found)))
    _unfolded("report_descriptor", data)


def _edid(data: bytes) -> None:
    found = edid.decode(data)
    _placed(found, len(data))
    clean(found.identity)
    _unfolded("edid", data)


def _smbios(data: bytes) -> None:
    found = smbios.decode(data)
    _placed(found, len(data))
    for one in found.structures:
        onboard_devices(one)
    _unfolded("smbios", data)


def _structure(data: bytes) -> None:
    """One structure, as kernels before 4.2 hand them out."""
    found = smbios.decode_entry(data)
    _placed(found, len(data))


def _signs(data: bytes) -> None:
    signs_in(data)
    signs_in(data, 4)


def _blocks() -> Iterable[bytes]:
    patterns = {
        "descriptors": "*.descriptors.hex",
        "edid": "*.edid.hex",
        "report_descriptor": "*.report_descriptor.hex",
    }
    for number, name in enumerate(sorted(BLOCKS)):
        for data in _files(patterns[name])() if name in patterns else [BOS]:
            yield bytes([number]) + data[:400]


TARGETS = (
    Target(name="raw-blocks-shown", run=_in_a_capture, seeds=_blocks, share=3),
    Target(name="usb-descriptors", run=_descriptors, seeds=_files("*.descriptors.hex"), share=4),
    Target(
        name="usb-described",
        run=_described,
        seeds=lambda: [b"\xff".join((one, BOS)) for one in _files("*.descriptors.hex")()],
    ),
    Target(name="usb-bos", run=_bos, seeds=lambda: [BOS], share=2),
    Target(name="usb-hub", run=_hub, seeds=lambda: [HUB]),
    Target(name="hid-report", run=_report, seeds=_files("*.report_descriptor.hex"), share=2),
    Target(name="edid", run=_edid, seeds=_files("*.edid.hex"), share=3),
    Target(name="smbios-table", run=_smbios, seeds=_files("*.smbios.hex"), share=4),
    Target(name="smbios-structure", run=_structure, seeds=_files("*.smbios.hex")),
    Target(name="input-events", run=_signs, seeds=lambda: [bytes(range(96))]),
)
