"""Type-C ports, and what is plugged into them (Documentation/ABI/testing/sysfs-class-typec)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, coverage_of, look
from support.more_buses import typec_partner, typec_port
from support.units import LARCH

from usbwatch.model import CoverageState, Kind, Rung

_Tree = Callable[..., Path]
_CONTROLLER = "acpi/_SB_.UBTC"


def test_a_port_tells_its_roles_and_modes(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    typec_port(root, 0)
    port = at(look(root), f"{_CONTROLLER}/typec/1", "typec")
    assert (port.kind, port.rung, port.functions) == (Kind.PORT, Rung.WORKING, ())
    assert port.facts == {
        "data_role": "[host] device",
        "power_role": "source [sink]",
        "port_type": "[dual] source sink",
        "power_operation_mode": "default",
        "orientation": "unknown",
        "usb_power_delivery_revision": "3.0",
        "usb_typec_revision": "1.2",
        "alternate_modes": "1209 ff01",
    }


def test_a_partner_and_its_cable_are_not_of_the_unit(loose_tree: _Tree) -> None:
    """The identity is that of Discover Identity: ID header 0x….1209, product object 0x000a…."""
    root = loose_tree(LARCH)
    typec_partner(root, typec_port(root, 0))
    capture = look(root)
    partner = at(capture, f"{_CONTROLLER}/typec/1/partner", "typec")
    assert (partner.kind, partner.rung, partner.identity) == (Kind.DEVICE, Rung.IDENTIFIED, "1209:000a")
    assert partner.facts == {"type": "hub", "supports_usb_power_delivery": "yes", "placed": "outside"}
    cable = at(capture, f"{_CONTROLLER}/typec/1/cable", "typec")
    assert cable.facts == {"type": "passive", "plug_type": "type-c", "placed": "outside"}


@pytest.mark.parametrize("id_header", ["0x00000000", "0x", "1209", "0x123456789", ""])
def test_a_partner_that_told_no_identity_has_none(loose_tree: _Tree, id_header: str) -> None:
    """ "The value will show 0 until Discover Identity command result becomes available"."""
    root = loose_tree(LARCH)
    typec_partner(root, typec_port(root, 0), id_header=id_header)
    partner = at(look(root), f"{_CONTROLLER}/typec/1/partner", "typec")
    assert (partner.identity, partner.rung) == ("", Rung.ATTACHED)


def test_ports_are_told_by_their_order_at_the_controller_not_by_the_kernels_numbers(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    for number in (12, 7, 9):
        typec_port(root, number)
    typec_partner(root, "sys/devices/platform/USBC000:00/typec/port9")
    places = [node.location for node in look(root).nodes if node.bus == "typec"]
    assert places == [f"{_CONTROLLER}/typec/{hop}" for hop in ("1", "2", "2/cable", "2/partner", "3")]


def test_a_port_that_firmware_names_stands_where_firmware_says(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    port = root / typec_port(root, 0)
    connector = root / "sys/devices/LNXSYSTM:00/LNXSYBUS:00/USBC000:00/device:77"
    connector.mkdir()
    (connector / "path").write_text("\\_SB_.UBTC.CR01\n")
    (port / "firmware_node").symlink_to(
        Path("../../../../LNXSYSTM:00/LNXSYBUS:00/USBC000:00/device:77"), target_is_directory=True
    )
    assert at(look(root), "acpi/_SB_.UBTC.CR01", "typec").kind is Kind.PORT


def test_a_real_kernel_without_type_c(real_tree: _Tree) -> None:
    """The emulated laptop of the snapshots has no Type-C controller: there is no ``sys/class/typec``."""
    root = real_tree("healthy")
    assert not (root / "sys/class/typec").exists()
    assert coverage_of(look(root), "typec").state is CoverageState.NOT_THERE
