"""A later look in the light of earlier ones: what came and went is not proven by a look that shows it there.

A bad contact makes contact most of the time, so that a plain capture shows the
device whether or not anything was mended. What speaks for it is a later watch,
long enough, in which it never left (common practice, no source). That its
suspected part was replaced in between changes nothing in this: watching again
is how that is proven.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from usbwatch.compare.intermittence import LONG_ENOUGH_MS
from usbwatch.model import ExpectedDevice, Finding, Findings, PartKind, Profile, Symptom, Verdict

__all__ = ["beside_earlier"]

_REASON = "there now, but came and went in an earlier look: not proven until watched again"


def beside_earlier(looks: Sequence[Findings], profile: Profile) -> tuple[Findings, ...]:
    """The findings of each look at one unit in one case, oldest first, in the light of those before it.

    What an earlier look found to come and go, and a later one present, becomes *unseen* with ``came_and_went`` set,
    until a watch of at least ``LONG_ENOUGH_MS`` saw it stay. It keeps its symptom: as evidence it counts as it did.
    """
    devices = {device.id: device for device in profile.devices}
    open_: set[str] = set()
    told = []
    for look in looks:
        open_ = {id_ for id_ in open_ if id_ in devices}
        open_ -= {finding.device for finding in look.findings if _stayed(finding)}
        told.append(
            replace(
                look,
                findings=tuple(
                    _unproven(finding, devices[finding.device], profile) if finding.device in open_ else finding
                    for finding in look.findings
                ),
            )
        )
        open_ |= {finding.device for finding in look.findings if finding.symptom is Symptom.INTERMITTENT}
    return tuple(told)


def _stayed(finding: Finding) -> bool:
    """Whether it was watched for long enough, and never left, by itself or with what it hangs on."""
    watched = finding.watched
    if watched is None or watched.lasted_ms < LONG_ENOUGH_MS or finding.symptom is Symptom.INTERMITTENT:
        return False
    return not (watched.left or watched.with_carrier or watched.fallbacks or watched.failures or watched.missed)


def _unproven(finding: Finding, device: ExpectedDevice, profile: Profile) -> Finding:
    """The finding of a device that is there; what is wrong, unseen or hidden anyhow says so by itself."""
    if finding.verdict is not Verdict.PRESENT or finding.charged_to:
        return finding
    links = [part.name for part in profile.parts if part.kind is PartKind.LINK and part.id in device.needs]
    moving = f" while you move {' and '.join(links)}" if links else ""
    return replace(
        finding,
        verdict=Verdict.UNSEEN,
        came_and_went=device.name,
        reasons=(_REASON, *finding.reasons),
        would_tell=f"watch the unit for {LONG_ENOUGH_MS // 1000} s or longer{moving} (usbwatch watch)",
    )
