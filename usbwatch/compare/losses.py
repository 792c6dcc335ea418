"""What failed or left at a USB port inside the unit, and that no finding speaks of.

With a profile that names no places a device can be lost unnoticed: another
one does the same job, or the profile does not ask for it. A port that
firmware calls hardwired has its part inside; where firmware says nothing of
a port, what failed there may as well be a helper device.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from usbwatch.compare.scene import Placing, Scene
from usbwatch.compare.twins import usb2_twins
from usbwatch.model import ExpectedDevice, Finding, Loss, Node, Rung

__all__ = ["losses"]

_FAILED, _GONE = "failed to enumerate", "left"
_TROUBLES = {"enumeration failed": _FAILED, "disconnected": _GONE, "intermittent": _GONE}
"""Troubles of the kernel's log (``usbwatch.capture.log.troubles``), the most telling first, and what they come to."""


def losses(scene: Scene, devices: Iterable[ExpectedDevice], judged: Iterable[Finding]) -> tuple[Loss, ...]:
    """By location, one for each port inside, or not known to be outside, that lost what was in it."""
    spoken = {finding.node.location for finding in judged if finding.node is not None}
    spoken |= {place for device in devices for place in device.locations}
    spoken |= usb2_twins(frozenset(spoken), scene.ports).keys()
    return tuple(_lost(scene, spoken))


def _lost(scene: Scene, spoken: set[str]) -> Iterator[Loss]:
    """A port's placing is that of its hub; the port itself is placed by its own ``connect_type``."""
    for place, port in sorted(scene.ports.items()):
        placing, word = scene.placing(port), port.facts.get("connect_type")
        wired = placing is Placing.INSIDE and word == "hardwired"
        what = _what(place, port, scene)
        # What left a port of which nothing is known was most likely a helper that somebody pulled out.
        told = what == _FAILED or (what == _GONE and wired)
        if told and placing is not Placing.OUTSIDE and word != "hotplug" and place not in spoken:
            yield Loss(location=place, what=what, inside=wired)


def _what(place: str, port: Node, scene: Scene) -> str:
    """What became of the thing in a port, "" while something is there or where nothing tells."""
    halves = (place, str(port.facts.get("peer", "")))
    if any(node.bus == "usb" for half in halves for node in scene.at.get(half, ())):
        return ""
    troubles = {episode.trouble for episode in scene.troubles.get(place, ())}
    if troubles & _TROUBLES.keys():
        return next(what for trouble, what in _TROUBLES.items() if trouble in troubles)
    return "" if port.rung is Rung.ABSENT or port.rung.reaches(Rung.IDENTIFIED) else _FAILED
