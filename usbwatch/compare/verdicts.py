"""Findings about a node that stands for an expected device, in the words of each verdict."""

from __future__ import annotations

from usbwatch.model import ExpectedDevice, Finding, Node, Rung, Symptom, Verdict

__all__ = ["called", "impaired", "missing", "unseen"]


def called(node: Node) -> str:
    """What a node is called in a sentence: its identity, else its own name, else its bus."""
    return node.identity or node.name or node.bus


def impaired(device: ExpectedDevice, node: Node, symptom: Symptom, *reasons: str) -> Finding:
    """It got part of the way, or works wrongly."""
    return Finding(
        device=device.id, verdict=Verdict.IMPAIRED, rung=node.rung, symptom=symptom, reasons=reasons, node=node
    )


def missing(device: ExpectedDevice, node: Node, *reasons: str) -> Finding:
    """Its place is there and empty, and this capture could have seen it."""
    return Finding(
        device=device.id, verdict=Verdict.MISSING, rung=node.rung, symptom=Symptom.ABSENT, reasons=reasons, node=node
    )


def unseen(device: ExpectedDevice, node: Node, reason: str, would_tell: str) -> Finding:
    """It could not be seen by this capture; no rung above *attached* is claimed."""
    return Finding(
        device=device.id,
        verdict=Verdict.UNSEEN,
        rung=Rung.ATTACHED,
        symptom=Symptom.UNSEEN,
        reasons=(reason,),
        node=node,
        would_tell=would_tell,
    )
