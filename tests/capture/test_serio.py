"""PS/2 ports: they exist because their controller does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.looking import at, coverage_of, look
from support.sysfs import Conditions
from support.tree.parts import SerioPort
from support.units import HERON, LARCH

from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]

_AUX = SerioPort(
    id="pad",
    kind="AUX",
    acpi_name="PS2M",
    pnp_id="PNP0F13",
    driver="psmouse",
    hid="ps2-touchpad",
    protocol="SynPS/2",
)


@pytest.mark.parametrize(
    ("port", "identity", "functions", "driver"),
    [
        ("kbd", "PNP0303", ("keyboard",), "atkbd"),
        ("aux", "PNP0f13", ("mouse", "pointing-device"), "psmouse"),
    ],
)
def test_a_real_kernels_ports(
    real_tree: _Tree, port: str, identity: str, functions: tuple[str, ...], driver: str
) -> None:
    node = at(look(real_tree("healthy")), f"platform/i8042/{port}", "serio")
    assert (node.identity, node.functions, node.driver) == (identity, functions, driver)
    assert (node.kind, node.rung) == (Kind.DEVICE, Rung.WORKING)


def test_ports_are_told_by_their_description_and_not_by_their_number(built_tree: _Tree) -> None:
    """With the keyboard port switched off, the AUX port is serio0 (seen with kernel 6.1 and ``i8042.nokbd``)."""
    alone = replace(HERON, serio=(_AUX,))
    both = replace(HERON, serio=(*HERON.serio, _AUX))
    for unit in (alone, both):
        named = replace(unit, dmi=unit.dmi | {"product_name": f"Heron with {len(unit.serio)} PS/2 ports"})
        node = at(look(built_tree(named)), "platform/i8042/aux", "serio")
        assert (node.name, node.functions) == ("i8042 AUX port", ("pointing-device", "touchpad"))


def test_a_pad_that_does_not_answer_leaves_a_port_without_driver(built_tree: _Tree) -> None:
    """psmouse asks for an identity and gives up without a line (drivers/input/mouse/psmouse-base.c)."""
    unit = replace(HERON, serio=(*HERON.serio, _AUX), dmi=HERON.dmi | {"product_name": "Heron with a PS/2 pad"})
    capture = look(built_tree(unit, Conditions(missing=("pad",))))
    node = at(capture, "platform/i8042/aux", "serio")
    assert (node.rung, node.driver, node.functions) == (Rung.ABSENT, "", ())
    assert "psmouse" in coverage_of(capture, "serio").drivers


def test_a_unit_without_ps2_controller_has_an_empty_bus(built_tree: _Tree) -> None:
    coverage = coverage_of(look(built_tree(LARCH)), "serio")
    assert (coverage.state.value, coverage.nodes) == ("empty", 0)


def test_the_keyboard_of_a_laptop_is_the_kernels_belief(built_tree: _Tree) -> None:
    """The tree is the same whether or not a keyboard answers (drivers/input/keyboard/atkbd.c)."""
    there, gone = (look(built_tree(HERON, Conditions(missing=gone))) for gone in ((), ("keyboard",)))
    assert at(there, "platform/i8042/kbd", "serio") == at(gone, "platform/i8042/kbd", "serio")
