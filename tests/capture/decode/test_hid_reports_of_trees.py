"""HID report descriptors against the reference library hid-parser: of the kernel's snapshots, and many made ones."""

from __future__ import annotations

import hashlib
import tarfile
import warnings
from pathlib import Path

import hid_parser
import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.decode import hid_report

ARCHIVES = Path(__file__).parents[2] / "data" / "trees"


@pytest.fixture(scope="module")
def of_snapshots() -> dict[str, bytes]:
    """Every report descriptor that the real kernel kept, once, by digest."""
    found = {}
    for path in sorted(ARCHIVES.glob("*.tar.xz")):
        with tarfile.open(path) as archive:
            for one in archive:
                file = archive.extractfile(one) if one.isfile() and one.name.endswith("/report_descriptor") else None
                data = file.read() if file else b""
                if data:
                    found[hashlib.sha256(data).hexdigest()[:12]] = data
    return found


def reference_bits(data: bytes) -> dict[tuple[str, int], int]:
    """Bits of each input and output report; feature reports are counted otherwise (see ``test_hid_report.py``)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hid_parser.HIDComplianceWarning)
        reference = hid_parser.ReportDescriptor(list(data))
        return {
            ("input", number or 0): int(reference.get_input_report_size(number))
            for number in reference.input_report_ids
        } | {
            ("output", number or 0): int(reference.get_output_report_size(number))
            for number in reference.output_report_ids
        }


def our_bits(data: bytes) -> dict[tuple[str, int], int]:
    reports = hid_report.decode(data).reports
    return {(one.kind, one.report_id): one.bits for one in reports if one.kind != "feature"}


def test_report_sizes_of_the_snapshots_agree(of_snapshots: dict[str, bytes]) -> None:
    assert len(of_snapshots) >= 3
    for digest, data in of_snapshots.items():
        assert hid_report.decode(data).defects == (), digest
        assert our_bits(data) == reference_bits(data) != {}, digest


# --- made ones: applications with report ids, each of some fields --------------------------

_INPUT, _OUTPUT = 0x81, 0x91


@st.composite
def field(draw: st.DrawFn) -> bytes:
    """Page, usages, logical range, size and count, then the main item (HID 1.11 sections 6.2.2.4 to 6.2.2.8)."""
    size, count = draw(st.integers(1, 32)), draw(st.integers(1, 12))
    page = draw(st.sampled_from([0x01, 0x07, 0x08, 0x09, 0x0C]))
    usages = b"".join(bytes([0x09, draw(st.integers(1, 0x7F))]) for _ in range(count))
    main, flags = draw(st.sampled_from([_INPUT, _OUTPUT])), draw(st.sampled_from([0x02, 0x06]))
    return bytes([0x05, page]) + usages + bytes([0x15, 0, 0x25, 1, 0x75, size, 0x95, count, main, flags])


@st.composite
def descriptor(draw: st.DrawFn) -> bytes:
    applications = draw(st.lists(st.lists(field(), min_size=1, max_size=5), min_size=1, max_size=6))
    return b"".join(
        bytes([0x05, 0x01, 0x09, 0x06, 0xA1, 0x01, 0x85, number]) + b"".join(fields) + b"\xc0"
        for number, fields in enumerate(applications, 1)
    )


@pytest.mark.properties
@given(data=descriptor())
def test_report_sizes_of_any_application_agree(data: bytes) -> None:
    assert hid_report.decode(data).defects == ()
    assert our_bits(data) == reference_bits(data)
