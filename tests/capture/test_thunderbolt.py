"""Thunderbolt: the unit's own router against what is on a cable (Documentation/ABI/testing/sysfs-bus-thunderbolt)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, coverage_of, look
from support.more_buses import thunderbolt
from support.units import LARCH

from usbwatch.capture import to_json
from usbwatch.model import CoverageState, Kind, Rung

_Tree = Callable[..., Path]
_DOMAIN = "pci0000:00/0d.2/thunderbolt"


def test_a_host_with_nothing_plugged_in(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    thunderbolt(root)
    capture = look(root)
    domain = at(capture, _DOMAIN, "thunderbolt")
    assert (domain.kind, domain.facts["security"], domain.facts["iommu_dma_protection"]) == (
        Kind.INFRASTRUCTURE,
        "user",
        1,
    )
    router = at(capture, f"{_DOMAIN}/0", "thunderbolt")
    assert (router.kind, router.identity, router.name) == (Kind.INFRASTRUCTURE, "1209:0001", "Larch 13")
    assert router.facts["generation"] == 4
    assert "placed" not in router.facts


def test_a_dock_on_a_cable_is_not_of_the_unit(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    thunderbolt(root, device=True)
    dock = at(look(root), f"{_DOMAIN}/0/1", "thunderbolt")
    assert (dock.kind, dock.rung, dock.identity) == (Kind.DEVICE, Rung.WORKING, "1209:000f")
    assert (dock.facts["placed"], dock.facts["rx_speed"], dock.facts["rx_lanes"]) == ("outside", "20.0 Gb/s", 2)


def test_a_dock_that_is_not_authorised_shows_no_devices_and_is_only_identified(loose_tree: _Tree) -> None:
    """ "If the device is not authorized, no PCIe devices are available to the system"."""
    root = loose_tree(LARCH)
    thunderbolt(root, device=True, authorized=0)
    assert at(look(root), f"{_DOMAIN}/0/1", "thunderbolt").rung is Rung.IDENTIFIED


def test_keys_and_unique_ids_stay_where_they_are(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    thunderbolt(root, device=True)
    text = to_json(look(root))
    assert "Plank dock" in text
    assert "0" * 64 not in text
    assert "c0ffee" not in text


@pytest.mark.parametrize("number", [0, 3])
def test_the_number_of_a_domain_is_no_part_of_a_place(loose_tree: _Tree, number: int) -> None:
    root = loose_tree(LARCH)
    thunderbolt(root, domain=number, device=True)
    places = [node.location for node in look(root).nodes if node.bus == "thunderbolt"]
    assert places == [_DOMAIN, f"{_DOMAIN}/0", f"{_DOMAIN}/0/1"]


def test_a_real_kernel_without_thunderbolt(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    assert not (root / "sys/bus/thunderbolt").exists()
    assert coverage_of(look(root), "thunderbolt").state is CoverageState.NOT_THERE
