"""Two looks at the invented Fernhill Larch 13, built node by node: what a comparison of captures is tried on."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from usbwatch.model import Capture, Coverage, CoverageState, Fact, Kind, Node, Rung, System, UnitStrings
from usbwatch.model.changes import ChangeKind, Changes, CoverageChange, EpisodeChange, FactChange, NodeChange

__all__ = ["BUSES", "XHCI", "captures", "look", "mirrored", "usb", "with_parts"]

XHCI = "pci0000:00/14.0/usb2"
BUSES = ("usb", "hid", "power_supply", "log", "dmi")
UNIT = UnitStrings(sys_vendor="Fernhill", product_name="Larch 13", product_serial="LG-0001-DEMO", bios_version="1.02")


def usb(
    chain: str,
    identity: str,
    *,
    rung: Rung = Rung.WORKING,
    driver: str = "usbhid",
    facts: dict[str, Fact] | None = None,
) -> Node:
    """A USB device at a port chain of the unit's USB 2 root hub."""
    return Node(
        bus="usb",
        location=f"{XHCI}/{chain}",
        kind=Kind.DEVICE,
        rung=rung,
        identity=identity,
        driver=driver,
        facts=facts or {},
    )


def with_parts(device: Node) -> tuple[Node, ...]:
    """A device with its interface and the HID node that the kernel made of it."""
    interface = replace(device, location=f"{device.location}/if0", kind=Kind.INTERFACE, identity="03/01/01", facts={})
    return device, interface, replace(interface, bus="hid", location=f"{interface.location}/hid", kind=Kind.FUNCTION)


def look(*nodes: Node, unseen: tuple[str, ...] = (), unread: int = 0, unit: UnitStrings = UNIT) -> Capture:
    """A capture that saw all buses but those ``unseen``; of each, ``unread`` files could not be read."""
    coverage = tuple(
        Coverage(bus=bus, state=CoverageState.NOT_THERE if bus in unseen else CoverageState.OK, unread=unread)
        for bus in BUSES
    )
    return Capture(
        taken_at="", tool="0", system=System(platform="linux"), unit=unit, coverage=coverage, nodes=tuple(nodes)
    )


_MIRROR = {ChangeKind.GONE: ChangeKind.NEW, ChangeKind.NEW: ChangeKind.GONE}


def mirrored(changes: Changes) -> Changes:
    """The same changes told from the second capture to the first."""

    def facts(told: tuple[FactChange, ...]) -> tuple[FactChange, ...]:
        return tuple(replace(fact, before=fact.after, after=fact.before) for fact in told)

    def node(change: NodeChange) -> NodeChange:
        return replace(
            change,
            kind=_MIRROR.get(change.kind, change.kind),
            before=change.after,
            after=change.before,
            facts=facts(change.facts),
        )

    def coverage(change: CoverageChange) -> CoverageChange:
        return replace(change, before=change.after, after=change.before)

    def episode(change: EpisodeChange) -> EpisodeChange:
        kind = _MIRROR.get(change.kind, change.kind)
        return replace(change, kind=kind, before=change.after, after=change.before)

    return Changes(
        unit=facts(changes.unit),
        coverage=tuple(coverage(change) for change in changes.coverage),
        nodes=tuple(node(change) for change in changes.nodes),
        episodes=tuple(episode(change) for change in changes.episodes),
        system=facts(changes.system),
    )


_CHAINS = ("1", "2", "3", "4", "4.1", "4.2", "4.1/if0", "4.2/if0", "5", "5.1", "5.2", "5.1/if0")


def _nodes() -> st.SearchStrategy[Node]:
    return st.builds(
        Node,
        bus=st.sampled_from(("usb", "hid")),
        location=st.sampled_from([f"{XHCI}/{chain}" for chain in _CHAINS]),
        kind=st.sampled_from((Kind.DEVICE, Kind.INTERFACE, Kind.FUNCTION, Kind.PORT)),
        rung=st.sampled_from((Rung.ABSENT, Rung.WORKING)),
        identity=st.sampled_from(("", "1209:0001", "1209:0002")),
        driver=st.sampled_from(("", "usbhid")),
        facts=st.dictionaries(st.sampled_from(("speed_kbps", "serial", "status")), st.sampled_from((0, "Full"))),
    )


@st.composite
def captures(draw: st.DrawFn) -> Capture:
    """Any capture of a small unit: crowded places, few identities, buses unseen now and then."""
    nodes = draw(st.lists(_nodes(), max_size=14, unique_by=lambda node: (node.bus, node.location)))
    unseen = draw(st.sampled_from(((), (), (), ("hid",), ("usb", "log"))))
    serial = draw(st.sampled_from(("", "LG-0001-DEMO", "LG-0002-DEMO")))
    return look(*nodes, unseen=unseen, unread=draw(st.integers(0, 1)), unit=replace(UNIT, product_serial=serial))
