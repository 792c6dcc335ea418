"""The two ports of one connector: its USB 2 port and its SuperSpeed port.

A SuperSpeed connector is two ports of two root hubs; what loses its SuperSpeed
lines shows on the other one. The kernel pairs them by the ``location`` that
firmware gives both; at a root hub without one it pairs by port number, which
is a guess (``find_and_link_peer`` in drivers/usb/core/port.c), so that such a
pair is not used here. The ports of hubs behind them have the same numbers on
both sides (the same function), so that such a pair is as sure as that of the
ports above it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from usbwatch.model import ExpectedDevice, Node, parent_port

__all__ = ["twin", "twins_of", "usb2_twins"]

_SUPERSPEED = "/usb3/"


def twin(place: str, ports: Mapping[str, Node]) -> str:
    """The other port of the connector whose port is at ``place``, "" where that is not known for sure."""
    port = ports.get(place)
    peer = str(port.facts.get("peer", "")) if port is not None else ""
    above = parent_port(place)
    hub = twin(above, ports) if above else ""
    if port is not None and peer and (hub or (not above and _placed(port))):
        return peer
    return f"{hub}.{place.rpartition('.')[2]}" if hub else ""


def _placed(port: Node) -> bool:
    """Whether firmware says where a port is."""
    return str(port.facts.get("location", "")).strip("0x") != ""


def usb2_twins(places: Iterable[str], ports: Mapping[str, Node]) -> dict[str, str]:
    """For each SuperSpeed place whose connector has one: its USB 2 port, and the place itself as the value."""
    pairs = ((twin(place, ports), place) for place in places if _SUPERSPEED in place)
    return {other: place for other, place in pairs if other}


def twins_of(device: ExpectedDevice, ports: Mapping[str, Node]) -> dict[str, str]:
    """The USB 2 ports at which a device shows that lost its SuperSpeed lines, with the place it should be at."""
    return {
        other: place for other, place in usb2_twins(device.locations, ports).items() if other not in device.locations
    }
