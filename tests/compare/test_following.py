"""One cause, many losses: which changes only go along with another."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.two_looks import XHCI, look, usb, with_parts

from usbwatch.compare.changes import changes
from usbwatch.model import Fact, Kind, Node, Rung

HUB = usb("4", "1209:0006", driver="hub")
OTHER_HUB = usb("4", "1209:0007", driver="hub")
KEYBOARD = with_parts(usb("4.1", "1209:0001"))
MOVED_HUB = usb("5", "1209:0006", driver="hub")
MOVED_KEYBOARD = with_parts(usb("5.1", "1209:0001"))


def port(chain: str, rung: Rung, **facts: Fact) -> Node:
    return Node(bus="usb-port", location=f"{XHCI}/{chain}", kind=Kind.PORT, rung=rung, facts=facts)


def undriven(nodes: tuple[Node, ...]) -> tuple[Node, ...]:
    device, interface, _ = nodes
    return replace(device, driver="", rung=Rung.CONFIGURED), replace(interface, driver="", rung=Rung.CONFIGURED)


@pytest.mark.parametrize(
    ("before", "after", "leading"),
    [
        pytest.param((HUB, *KEYBOARD), (), [("gone", "4")], id="the hub took its devices along"),
        pytest.param((HUB, *KEYBOARD), (HUB,), [("gone", "4.1")], id="a device took its parts along"),
        pytest.param((HUB, *KEYBOARD), (MOVED_HUB, *MOVED_KEYBOARD), [("moved", "5")], id="all moved with the hub"),
        pytest.param(
            (HUB, *KEYBOARD), (MOVED_HUB,), [("moved", "5"), ("gone", "4.1")], id="the hub moved without the keyboard"
        ),
        pytest.param(
            (HUB, *KEYBOARD), (OTHER_HUB,), [("replaced", "4"), ("gone", "4.1")], id="another hub without a keyboard"
        ),
        pytest.param(
            (HUB, *KEYBOARD),
            (MOVED_HUB, *with_parts(usb("5.2", "1209:0001"))),
            [("moved", "5"), ("moved", "5.2")],
            id="the hub moved and the keyboard changed its port",
        ),
        pytest.param(
            (HUB, KEYBOARD[0]),
            (OTHER_HUB, usb("4.1", "1209:0002")),
            [("replaced", "4"), ("replaced", "4.1")],
            id="another hub with another device",
        ),
        pytest.param(
            (HUB, usb("4.1", "1209:0001", facts={"speed_kbps": 480_000})),
            (OTHER_HUB, usb("4.1", "1209:0001", facts={"speed_kbps": 12_000})),
            [("replaced", "4"), ("changed", "4.1")],
            id="slower behind another hub",
        ),
        pytest.param(KEYBOARD, undriven(KEYBOARD), [("changed", "4.1")], id="the driver let go"),
        pytest.param(
            (HUB, *KEYBOARD),
            (replace(HUB, rung=Rung.BOUND),),
            [("changed", "4"), ("gone", "4.1")],
            id="a device gone from a hub that changed is a loss of its own",
        ),
        pytest.param(
            (*KEYBOARD, port("4.1", Rung.CONFIGURED, state="configured")),
            (port("4.1", Rung.ABSENT, state="not attached"),),
            [("gone", "4.1")],
            id="its port fell empty",
        ),
        pytest.param(
            (*KEYBOARD, port("4.1", Rung.CONFIGURED, over_current_count=0)),
            (port("4.1", Rung.ABSENT, over_current_count=1),),
            [("gone", "4.1"), ("changed", "4.1")],
            id="a port with an over-current speaks for itself",
        ),
        pytest.param(
            (port("4.1", Rung.CONFIGURED),), (port("4.1", Rung.ABSENT),), [("changed", "4.1")], id="a port alone"
        ),
    ],
)
def test_what_leads_and_what_follows(
    before: tuple[Node, ...], after: tuple[Node, ...], leading: list[tuple[str, str]]
) -> None:
    found = changes(look(*before), look(*after)).nodes
    leads = [(one.kind.value, one.node.location.removeprefix(f"{XHCI}/")) for one in found if not one.follows]
    assert leads == leading


def test_what_cannot_be_compared_follows_nothing() -> None:
    found = changes(look(HUB, *KEYBOARD), look(unseen=("hid",))).nodes
    assert [(one.bus, one.kind.value) for one in found if not one.follows] == [
        ("usb", "gone"),
        ("hid", "not comparable"),
    ]
