"""A profile's places in the terms of a capture that does not tell controllers apart.

Such a capture (``usbwatch.capture.portable`` on macOS and Windows) places a
device by its port chain alone: ``usb2/4.1``. That is the profile's place when
just one controller of the profile has that chain, and just one of the unit
can have it; any other place stays as the profile has it, and is then unseen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from usbwatch.capture.portable.charge import BATTERY, MAINS
from usbwatch.compare.scene import root_of
from usbwatch.model import Capture, ExpectedDevice, Kind, Node, Profile, port_chain, same_port_chain

__all__ = ["SUPERSPEED_NUMBERING", "as_placed"]

SUPERSPEED_NUMBERING = "usb3"
"""On macOS and Windows SuperSpeed ports are numbered on from the USB 2 ports of their controller, as xHCI does
(xHCI 1.2 section 7.2, *compatible port offset*); Linux numbers them anew. (Which system does which: from memory.)"""

_SUPPLIES = {"battery": BATTERY, "mains-adapter": MAINS}


def as_placed(profile: Profile, capture: Capture) -> Profile:
    """``profile`` with its devices placed as ``capture`` places them; the same one for a capture of sysfs."""
    devices = tuple(_placed(device, profile, capture) for device in profile.devices)
    return profile if devices == profile.devices else replace(profile, devices=devices)


def _placed(device: ExpectedDevice, profile: Profile, capture: Capture) -> ExpectedDevice:
    supply = _SUPPLIES.get(device.function, "")
    if supply and any(node.location == supply for node in capture.nodes):
        alone = sum(other.function == device.function for other in profile.devices) == 1
        return replace(device, locations=(supply,), identities=()) if alone else device
    return replace(device, locations=tuple(_place(place, device, profile, capture) for place in device.locations))


def _place(place: str, device: ExpectedDevice, profile: Profile, capture: Capture) -> str:
    """Where ``capture`` shows what the profile has at ``place``, or ``place`` itself when that cannot be told."""
    chain = port_chain(place)
    numbering = chain.partition("/")[0]
    roots = _root_hubs(capture, numbering)
    if not roots or numbering == SUPERSPEED_NUMBERING or len(_controllers(chain, profile)) > 1:
        return place
    if len(roots) == 1:
        return chain
    return _only(lambda node: same_port_chain(node.location, place), device, capture) or place


def _root_hubs(capture: Capture, numbering: str) -> list[Node]:
    """Root hubs of controllers that are not told, with this port numbering."""
    return [
        node
        for node in capture.nodes
        if node.bus == "usb" and node.kind is Kind.INFRASTRUCTURE and node.location.partition("#")[0] == numbering
    ]


def _controllers(chain: str, profile: Profile) -> set[str]:
    return {root_of(place) for device in profile.devices for place in device.locations if port_chain(place) == chain}


def _only(at_chain: Callable[[Node], bool], device: ExpectedDevice, capture: Capture) -> str:
    """Of what several controllers have at a chain, the one with an identity of ``device``; "" without just one."""
    found = [node.location for node in capture.nodes if at_chain(node) and node.identity in device.identities]
    return found[0] if len(found) == 1 else ""
