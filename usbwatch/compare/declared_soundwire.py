"""SoundWire codecs that firmware declares, and whether each is on its bus.

``status`` is ``UNATTACHED`` for one that is in firmware's tables alone
(Documentation/ABI/testing/sysfs-bus-soundwire-slave). A link that sleeps can
say so of all that is on it (from memory, drivers/soundwire/bus.c), so it
counts only where another one on the same link is attached.
"""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch.compare.scene import Scene
from usbwatch.model import Declaration, DeclaredState, Kind, Node, Rung

__all__ = ["soundwire_declarations"]


def soundwire_declarations(scene: Scene) -> Iterator[Declaration]:
    """One declaration for every peripheral on a SoundWire link."""
    codecs = [node for node in scene.capture.nodes if node.bus == "soundwire" and node.kind is Kind.DEVICE]
    awake = {_link(node) for node in codecs if node.rung.reaches(Rung.IDENTIFIED)}
    for node in codecs:
        state, because = _judged(node, awake)
        found = f"{node.identity}, {node.rung.value}" if state is DeclaredState.FOUND else ""
        yield Declaration(
            what="SoundWire codec",
            state=state,
            said_by=f"SoundWire table, {node.identity}",
            where=node.location,
            function="audio",
            found=found,
            because=because,
        )


def _link(node: Node) -> str:
    return node.location.rpartition("/")[0]


def _judged(node: Node, awake: set[str]) -> tuple[DeclaredState, str]:
    if node.rung.reaches(Rung.IDENTIFIED):
        return DeclaredState.FOUND, ""
    if node.rung is not Rung.ABSENT:
        return DeclaredState.UNPROVEN, "the kernel does not tell whether it is on its bus"
    if _link(node) in awake and "unread_files" not in node.facts:
        return DeclaredState.NOT_FOUND, "others on its link are attached, and it is not"
    return DeclaredState.NOT_SEEN, "nothing on its link is attached; the link may be asleep"
