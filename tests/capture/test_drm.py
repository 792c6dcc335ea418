"""Display connectors: an EDID that was read proves a panel, ``status`` does not."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, look
from support.sysfs import Conditions
from support.units import LARCH, PLOVER

from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]
_PANEL = "pci0000:00/02.0/drm/eDP-1"
_FILE = "sys/class/drm/card0-eDP-1/edid"


def test_a_real_kernels_connector(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    node = at(look(root), "pci0000:00/02.0/drm/Virtual-1", "drm")
    assert (node.kind, node.rung, node.facts["status"]) == (Kind.PORT, Rung.WORKING, "connected")
    assert (node.facts["edid_bytes"], node.facts["first_mode"]) == (256, "1920x1080")
    assert node.raw["edid"] == (root / "sys/class/drm/card0-Virtual-1/edid").read_bytes().hex()


def test_a_panel_with_its_edid_works(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH)), _PANEL, "drm")
    assert (node.kind, node.functions, node.rung) == (Kind.DEVICE, ("panel",), Rung.WORKING)
    assert (node.identity, node.name) == ("QFL:1301", "eDP-1")


def test_a_socket_with_nothing_in_it_is_absent(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH)), "pci0000:00/02.0/drm/HDMI-A-1", "drm")
    assert (node.kind, node.rung, node.functions, node.facts["edid_bytes"]) == (Kind.PORT, Rung.ABSENT, (), 0)


def test_another_connector_type_for_a_panel(built_tree: _Tree) -> None:
    assert at(look(built_tree(PLOVER)), "pci0000:00/02.0/drm/DSI-1", "drm").functions == ("panel",)


@pytest.mark.parametrize(
    ("keep", "rung"),
    [(0, Rung.ATTACHED), (5, Rung.IDENTIFIED), (11, Rung.IDENTIFIED), (127, Rung.IDENTIFIED), (128, Rung.WORKING)],
)
def test_a_panels_rung_follows_what_was_read_of_its_edid(loose_tree: _Tree, keep: int, rung: Rung) -> None:
    root = loose_tree(LARCH)
    whole = (root / _FILE).read_bytes()
    (root / _FILE).write_bytes(whole[:keep])
    node = at(look(root), _PANEL, "drm")
    assert (node.rung, node.facts["status"], node.facts["edid_bytes"]) == (rung, "connected", keep)


def test_an_edid_with_a_wrong_checksum_is_no_proof(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    whole = bytearray((root / _FILE).read_bytes())
    whole[20] ^= 1
    (root / _FILE).write_bytes(whole)
    assert at(look(root), _PANEL, "drm").rung is Rung.IDENTIFIED


def test_without_a_graphics_driver_there_are_no_connectors(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(undriven=("graphics",))))
    assert [node for node in capture.nodes if node.bus == "drm"] == []
