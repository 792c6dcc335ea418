"""A returning unit beside its own baseline: which part is no longer the one fitted, and how worn the battery is.

A part is another one when a serial number differs, or what it calls itself;
it is the same only when a serial number is. A type without serial numbers
cannot be told from its like. What the capture did not see is never gone: that
word needs the finding "missing".
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from usbwatch.compare.changes import changes
from usbwatch.compare.same_part import Answer, Side, compared, of_firmware
from usbwatch.compare.serials import nodes_of
from usbwatch.compare.wear import readings_of, wear
from usbwatch.model import (
    Capture,
    DeviceSince,
    Finding,
    Findings,
    Fitted,
    Kind,
    Node,
    Profile,
    SinceBaseline,
    Verdict,
    Wear,
    hangs_on,
)
from usbwatch.model.changes import ChangeKind, Changes, NodeChange
from usbwatch.profile.days import days_between

__all__ = ["since_baseline"]


def since_baseline(
    before: Capture, before_findings: Findings, now: Capture, now_findings: Findings, profile: Profile
) -> SinceBaseline:
    """What became of the unit since ``before``, its baseline. Both findings are by the same ``profile``."""
    old, new = _side(before, before_findings, "at the baseline"), _side(now, now_findings, "now")
    found = changes(before, now)
    days = days_between(before.taken_at, now.taken_at)
    ids = [one.id for one in profile.devices if one.id in old.findings or one.id in new.findings]
    devices = tuple(_device(one, old, new, found) for one in ids)
    batteries = {one.id for one in profile.devices if one.function == "battery"}
    return SinceBaseline(
        taken_at=before.taken_at,
        days=days,
        unit=tuple(of_firmware(old, new)),
        devices=devices,
        wear=tuple(_wear((one for one in devices if one.device in batteries), old, new, days)),
        others=tuple(_others(found, devices, batteries, old, new)),
        changes=found,
    )


def _side(capture: Capture, findings: Findings, name: str) -> Side:
    return Side(
        capture=capture,
        findings={one.device: one for one in findings.findings},
        nodes=nodes_of(capture, findings),
        external=tuple(node.location for node in findings.external),
        name=name,
    )


# --- One device -------------------------------------------------------------------------


def _device(device: str, old: Side, new: Side, found: Changes) -> DeviceSince:
    here = new.nodes.get(device) or old.nodes.get(device) or ()
    where = here[0].location if here else ""
    fitted, told_by, why = _answer(device, old, new, found)
    return DeviceSince(device=device, fitted=fitted, where=where, told_by=told_by, why=why)


def _answer(device: str, old: Side, new: Side, found: Changes) -> Answer:
    was, is_ = (not _is_missing(device, side) for side in (old, new))
    if not was and not is_:
        return Fitted.UNTOLD, (), "in neither capture"
    for side, there in ((new, is_), (old, was)):
        if there and not side.nodes.get(device):
            return Fitted.UNTOLD, (), _unseen_words(device, side)
    if was and is_:
        return compared(old, new, device)
    if was:
        return _lone(Fitted.GONE, old.nodes[device][0], new.findings.get(device), found)
    return _lone(Fitted.NEW, new.nodes[device][0], old.findings.get(device), found)


def _is_missing(device: str, side: Side) -> bool:
    """Whether nothing stands for a device: it is missing, or it need not be there and has no finding."""
    finding = side.findings.get(device)
    return finding is None or (finding.verdict is Verdict.MISSING and not finding.charged_to)


_KINDS = {Fitted.GONE: ChangeKind.GONE, Fitted.NEW: ChangeKind.NEW}


def _lone(fitted: Fitted, node: Node, lacking: Finding | None, found: Changes) -> Answer:
    """The answer for a device that one capture lacks; without a finding there, what the captures say decides."""
    if lacking is not None:
        return fitted, (), lacking.reasons[0] if lacking.reasons else ""
    alone = any(one.kind is _KINDS[fitted] and one.node == node and not one.follows for one in found.nodes)
    return (fitted, (), "") if alone else (Fitted.UNTOLD, (), "it need not be there, and was not seen in one capture")


def _unseen_words(device: str, side: Side) -> str:
    finding = side.findings[device]
    reason = f": {finding.reasons[0]}" if finding.reasons else ""
    return f"not seen {side.name}{reason}"


# --- Wear, and the rest --------------------------------------------------------------------

_SAME = {
    Fitted.SAME: True,
    Fitted.UNTOLD: None,
    Fitted.ANOTHER: False,
    Fitted.PERHAPS_ANOTHER: False,
    Fitted.NEW: False,
}


def _wear(batteries: Iterable[DeviceSince], old: Side, new: Side, days: int | None) -> Iterator[Wear]:
    for one in batteries:
        if one.fitted not in _SAME:
            continue
        then, now = (readings_of(side.nodes.get(one.device, ())) for side in (old, new))
        found = wear(one.device, then, now, same=_SAME[one.fitted], days=days)
        if found is not None:
            yield found


_TOLD_ALREADY = ("dmi/table", "dmi/type2", "dmi/type3", "dmi/type22")
"""Firmware's records of itself, of board, case and pack: what differs there stands beside the part."""


def _others(
    found: Changes, devices: Iterable[DeviceSince], batteries: set[str], old: Side, new: Side
) -> Iterator[NodeChange]:
    told = {one.where for one in devices if one.fitted not in (Fitted.SAME, Fitted.UNTOLD) or one.device in batteries}
    untold = {
        (node.bus, node.location)
        for one in devices
        if one.fitted is Fitted.UNTOLD
        for side in (old, new)
        for node in side.nodes.get(one.device, ())
    }
    aside = (*(told - {""}), *old.external, *new.external, *_TOLD_ALREADY)
    for change in found.nodes:
        place = change.node.location
        quiet = change.follows or change.kind is ChangeKind.NOT_COMPARABLE or change.node.kind is Kind.PORT
        quiet = quiet or (change.kind in (ChangeKind.GONE, ChangeKind.NEW) and (change.bus, place) in untold)
        if not quiet and not any(place == one or hangs_on(place, one) for one in aside):
            yield change
