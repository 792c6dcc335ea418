"""What firmware calls the unit, and which system was looking."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import coverage_of, look
from support.sysfs import Conditions
from support.units import HERON, LARCH, PLOVER

from usbwatch.model import UnitStrings

_Tree = Callable[..., Path]


def test_a_real_kernels_strings(real_tree: _Tree) -> None:
    assert look(real_tree("healthy")).unit == UnitStrings(
        sys_vendor="Fernhill",
        product_name="Larch 13",
        product_version="Rev B",
        product_sku="L13-8-256",
        product_family="Larch",
        product_serial="FH13-000123",
        board_vendor="Fernhill",
        board_name="LB13-MB",
        board_version="B2",
        bios_version="FH1.07",
        chassis_type="10",
    )


@pytest.mark.parametrize("unit", [LARCH, HERON, PLOVER], ids=["larch", "heron", "plover"])
def test_invented_units_tell_their_profiles_match(built_tree: _Tree, unit: object) -> None:
    capture = look(built_tree(unit))
    strings = getattr(unit, "dmi")  # noqa: B009 - the fixture takes any laptop
    assert (capture.unit.sys_vendor, capture.unit.product_name) == (strings["sys_vendor"], strings["product_name"])
    assert (capture.unit.product_sku, capture.unit.chassis_type) == (strings["product_sku"], strings["chassis_type"])


def test_a_tree_without_smbios_strings_says_so(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/class/dmi/id").unlink()
    capture = look(root)
    assert capture.unit == UnitStrings()
    assert coverage_of(capture, "dmi").state.value == "not there"


def test_the_kernel_is_read_from_proc_and_else_from_uname(built_tree: _Tree, real_tree: _Tree) -> None:
    assert look(built_tree(LARCH, Conditions(kernel="6.12.0"))).system.kernel == "6.12.0"
    assert not (real_tree("healthy") / "proc").exists()
    assert look(real_tree("healthy")).system.kernel == "6.1.0-56-amd64"


def test_a_copied_tree_is_no_live_system(built_tree: _Tree) -> None:
    system = look(built_tree(LARCH)).system
    assert (system.source, system.platform, system.privileged, system.virtual) == ("tree", "linux", False, "")


def test_a_processor_under_a_hypervisor_is_told(built_tree: _Tree) -> None:
    assert "hypervisor" in look(built_tree(LARCH, Conditions(under_hypervisor=True))).system.virtual
