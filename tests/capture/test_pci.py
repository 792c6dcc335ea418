"""PCI functions of a real kernel and of invented units."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, coverage_of, look
from support.sysfs import Conditions
from support.units import HERON, LARCH

from usbwatch.capture.functions import of_pci_class
from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]

_REAL = [
    # location, class, functions, driven, kind, rung
    ("pci0000:00/00.0", "060000", (), False, Kind.INFRASTRUCTURE, Rung.IDENTIFIED),
    ("pci0000:00/02.0", "030000", ("graphics",), True, Kind.DEVICE, Rung.WORKING),
    ("pci0000:00/06.0", "010802", ("disk",), True, Kind.DEVICE, Rung.WORKING),
    ("pci0000:00/14.0", "0c0330", ("usb-controller",), True, Kind.INFRASTRUCTURE, Rung.WORKING),
    ("pci0000:00/19.0", "020000", ("ethernet",), True, Kind.DEVICE, Rung.WORKING),
    ("pci0000:00/1b.0", "040300", ("audio",), True, Kind.DEVICE, Rung.WORKING),
    ("pci0000:00/1f.0", "060100", (), True, Kind.INFRASTRUCTURE, Rung.BOUND),
    ("pci0000:00/1f.2", "010601", (), True, Kind.INFRASTRUCTURE, Rung.BOUND),
    ("pci0000:00/1f.3", "0c0500", (), True, Kind.INFRASTRUCTURE, Rung.WORKING),
]


@pytest.mark.parametrize("row", _REAL, ids=[row[0] for row in _REAL])
def test_a_real_kernels_functions_are_read_as_they_stand(
    real_tree: _Tree, row: tuple[str, str, tuple[str, ...], bool, Kind, Rung]
) -> None:
    location, code, functions, driven, kind, rung = row
    root = real_tree("healthy")
    node = at(look(root), location, "pci")
    assert (node.facts["class"], node.functions, node.kind, node.rung) == (code, functions, kind, rung)
    function = root / f"sys/bus/pci/devices/0000:00:{location.rpartition('/')[2]}"
    files = [(function / name).read_text() for name in ("vendor", "device")]
    assert node.identity == ":".join(text.strip().removeprefix("0x") for text in files)
    assert (function / "driver").is_symlink() is driven
    assert node.driver == ((function / "driver").readlink().name if driven else "")


def test_a_real_kernel_has_nine(real_tree: _Tree) -> None:
    assert coverage_of(look(real_tree("healthy")), "pci").nodes == 9


def test_what_sits_behind_a_bridge_is_placed_by_the_bridge_and_not_by_its_bus_number(built_tree: _Tree) -> None:
    for number in (1, 3):
        capture = look(built_tree(HERON, Conditions(first_pci_bus=number)))
        node = at(capture, "pci0000:00/1c.0/00.0", "pci")
        assert (node.functions, node.rung) == (("wlan",), Rung.WORKING)
        assert at(capture, "pci0000:00/1d.0/00.0", "pci").functions == ("disk",)


def test_a_function_that_is_gone_leaves_no_node_but_firmwares_word_for_its_place(built_tree: _Tree) -> None:
    capture = look(built_tree(HERON, Conditions(missing=("wlan",))))
    assert not [node for node in capture.nodes if node.location.startswith("pci0000:00/1c.0/")]
    assert at(capture, "pci0000:00/1c.0", "pci").rung is Rung.BOUND


def test_a_function_without_driver_is_identified(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH, Conditions(undriven=("ethernet",)))), "pci0000:00/19.0", "pci")
    assert (node.rung, node.driver, node.functions) == (Rung.IDENTIFIED, "", ("ethernet",))


def test_the_link_is_kept_as_the_kernel_prints_it(built_tree: _Tree) -> None:
    facts = at(look(built_tree(LARCH)), "pci0000:00/06.0", "pci").facts
    assert (facts["current_link_speed"], facts["current_link_width"]) == ("8.0 GT/s PCIe", "4")


@pytest.mark.parametrize(
    ("code", "functions"),
    [
        ("0c0330", ("usb-controller",)),
        ("0c0340", ("usb-controller",)),
        ("010802", ("disk",)),
        ("028000", ("wlan",)),
        ("0d4000", ("wwan",)),
        ("040300", ("audio",)),
        ("038000", ("graphics",)),
        ("080501", ("card-reader",)),
        ("060400", ()),
        ("", ()),
    ],
)
def test_class_codes(code: str, functions: tuple[str, ...]) -> None:
    """Class codes: pci.ids."""
    assert of_pci_class(code) == functions
