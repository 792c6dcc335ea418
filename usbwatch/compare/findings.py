"""One finding per expected device; every other node sorted.

The front of this room: ``findings(capture, profile)``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from usbwatch.compare.absence import account_for
from usbwatch.compare.bare_list import NOTICE, is_bare_list
from usbwatch.compare.claims import claims
from usbwatch.compare.declared import beside_firmware, declarations
from usbwatch.compare.judging import judge
from usbwatch.compare.losses import losses
from usbwatch.compare.pairing import Fit, pair
from usbwatch.compare.scene import Placing, Scene, scene
from usbwatch.compare.software import with_software
from usbwatch.compare.unknown_controllers import as_placed
from usbwatch.model import (
    Answer,
    Capture,
    ExpectedDevice,
    Finding,
    Findings,
    Kind,
    Node,
    Profile,
    Rung,
    Symptom,
    Verdict,
    hangs_on,
)
from usbwatch.profile.choosing import fits, variant_of

__all__ = ["expected_devices", "findings"]


def expected_devices(capture: Capture, profile: Profile) -> tuple[ExpectedDevice, ...]:
    """What this unit should show: the profile's devices less those that its variant or firmware does not have."""
    variant = variant_of(profile, capture.unit)
    without = set(variant.without) if variant else set()
    declared = {
        word
        for node in capture.nodes
        if node.bus == "acpi" and node.rung is not Rung.ABSENT
        for word in (node.identity, *str(node.facts.get("compatible_ids", "")).split())
    }
    return tuple(
        device
        for device in profile.devices
        if device.id not in without and (not device.firmware_names or declared & set(device.firmware_names))
    )


def findings(capture: Capture, profile: Profile, answers: Iterable[Answer] = (), *, insisted: bool = False) -> Findings:
    """What became of each expected device, in the profile's order, and where all other nodes belong.

    An emulated machine that no profile fits has none of a laptop's parts to
    judge, unless somebody ``insisted`` on this profile.
    """
    profile = as_placed(profile, capture)
    seen = scene(capture, profile)
    devices = expected_devices(capture, profile)
    pairs = pair(devices, seen)
    paired = ((device, judge(device, *pairs[device.id], seen)) for device in devices if device.id in pairs)
    judged = {device.id: one for device, one in paired if not (device.optional and one.verdict is Verdict.MISSING)}
    absent = {
        place: device.id
        for device in devices
        if not device.optional and _carries_nothing(judged.get(device.id))
        for place in device.locations
    }
    for device in devices:
        if device.id not in judged and not device.optional:
            judged[device.id] = account_for(device, seen, absent)
    judged |= {one.id: with_software(one, judged[one.id], seen) for one in devices if one.id in judged}
    judged |= _with_watches(devices, pairs, judged, seen)
    untold = _untold_variant(capture, profile)
    for device in devices:
        if device.id in untold and device.id in judged and judged[device.id].verdict is Verdict.MISSING:
            judged[device.id] = _perhaps_not_fitted(judged[device.id])
    declared = declarations(capture)
    for device in devices:
        if device.id in judged and not device.locations:
            judged[device.id] = beside_firmware(judged[device.id], device.function, declared)
    answers = tuple(answers)
    judged |= {one: _with_question(finding, profile, answers) for one, finding in judged.items()}
    emulated = bool(capture.system.virtual) and profile.generic and not insisted
    if emulated:
        judged = {one: _not_of_a_laptop(finding) for one, finding in judged.items()}
    judged |= _by_hand(profile, answers, judged)
    variant = variant_of(profile, capture.unit)
    return Findings(
        profile=profile.id,
        variant=variant.id if variant else "",
        findings=tuple(judged[device.id] for device in devices if device.id in judged),
        answers=answers,
        other_model=emulated or _other_model(capture, profile),
        losses=() if emulated else losses(seen, (one for one in devices if one.id in judged), judged.values()),
        declared=declared,
        claims=claims(capture, devices, judged.values()),
        notices=_notices(capture, profile, emulated=emulated),
        **_sorted_rest(seen, judged.values()),
    )


def _with_watches(
    devices: tuple[ExpectedDevice, ...],
    pairs: Mapping[str, tuple[Node, int]],
    judged: Mapping[str, Finding],
    seen: Scene,
) -> dict[str, Finding]:
    """The findings with what came and went while the unit was watched; what may be a helper device is none of it."""
    if not seen.capture.watches:
        return {}
    # Few captures hold a watch, and only those need the rules on it.
    from usbwatch.compare.intermittence import with_watch
    from usbwatch.compare.watched_devices import watched_devices

    by_id = {device.id: device for device in devices}
    known = [one for one in devices if one.id in judged]
    nodes = {one: node for one, (node, fit) in pairs.items() if fit != Fit.FUNCTION_SOMEWHERE}
    told = watched_devices(known, nodes, seen)
    return {one.id: with_watch(judged[one.id], one, told.get(one.id), seen, by_id) for one in known}


def _carries_nothing(finding: Finding | None) -> bool:
    """Whether what hangs on a device cannot be there: it is gone, or a hub or controller that does no work.

    A node can stand for a device and still say "nothing here" (an empty bay).
    """
    if finding is None or finding.node is None or finding.rung is Rung.ABSENT:
        return True
    carrier = {"hub", "usb-controller"} & set(finding.node.functions)
    return finding.verdict is not Verdict.PRESENT and (not carrier or not finding.rung.reaches(Rung.WORKING))


def _untold_variant(capture: Capture, profile: Profile) -> set[str]:
    """Devices that some variant lacks, when the unit's strings tell none of the variants."""
    if not profile.variants or variant_of(profile, capture.unit):
        return set()
    return {device for variant in profile.variants for device in variant.without}


def _perhaps_not_fitted(finding: Finding) -> Finding:
    reason = "not every variant of this model has it, and the unit does not tell its variant"
    return replace(
        finding,
        verdict=Verdict.UNSEEN,
        symptom=Symptom.UNSEEN,
        reasons=(reason, *finding.reasons),
        would_tell="establish the variant by its label or order",
    )


def _with_question(finding: Finding, profile: Profile, answers: tuple[Answer, ...]) -> Finding:
    """What only a hand can prove, with the hand check of the profile that settles it; nothing is asked twice."""
    checks = [check.id for check in profile.checks if check.needs and check.needs[-1] == finding.device]
    if not (checks and finding.by_hand_alone and finding.would_tell):
        return finding
    if {answer.check for answer in answers} & set(checks):
        return finding
    return replace(finding, would_tell=f"{finding.would_tell}; or try it, and add --answer {checks[0]}=yes|no")


def _not_of_a_laptop(finding: Finding) -> Finding:
    """The finding on an emulated machine: whatever it shows or lacks tells nothing of a unit's parts."""
    reason = "an emulated machine shows none of a laptop's parts"
    return replace(
        finding,
        verdict=Verdict.UNSEEN,
        symptom=Symptom.UNSEEN,
        reasons=(reason, *finding.reasons),
        charged_to="",
        software="",
        by_hand_alone=False,
        would_tell="capture on the unit itself, or insist with --profile",
    )


def _by_hand(profile: Profile, answers: tuple[Answer, ...], judged: dict[str, Finding]) -> dict[str, Finding]:
    """Findings that a person's yes settles where no capture could. The answer itself carries the weight.

    A no is said, and settles nothing: one key that does not type leaves the keyboard where it was.
    """
    about = {check.id: check for check in profile.checks if check.needs}
    settled = {}
    for answer in answers:
        check = about.get(answer.check)
        finding = judged.get(check.needs[-1]) if check else None
        if not (check and finding and finding.by_hand_alone):
            continue
        if not answer.yes:
            reason = f"established by hand: {check.question} No."
            settled[finding.device] = replace(finding, reasons=(reason, *finding.reasons))
        else:
            reason = f"established by hand: {check.question} Yes."
            settled[finding.device] = replace(
                finding, verdict=Verdict.PRESENT, rung=Rung.WORKING, reasons=(reason, *finding.reasons), would_tell=""
            )
    return settled


def _other_model(capture: Capture, profile: Profile) -> bool:
    """Whether the unit names itself, and as something else than the profile is for."""
    named = bool(capture.unit.sys_vendor or capture.unit.product_name or capture.unit.board_name)
    return named and not profile.generic and not fits(profile, capture.unit)


_SPEEDS = "Without the model's own profile speeds are judged only where device and port both tell theirs."
_NO_PART = " No part is named by it."


def _notices(capture: Capture, profile: Profile, *, emulated: bool) -> tuple[str, ...]:
    told = [NOTICE] if is_bare_list(capture) else []
    if profile.generic and not emulated and any(node.bus == "usb" for node in capture.nodes):
        told.append(_SPEEDS)
    if not profile.generic and not fits(profile, capture.unit):
        model = " ".join(filter(None, (capture.unit.sys_vendor, capture.unit.product_name)))
        told.append(
            f"This unit calls itself {model or 'nothing (no SMBIOS strings)'}; the profile is for {profile.name}."
        )
    if capture.system.virtual and not fits(profile, capture.unit):
        sign = f"This is an emulated machine: {capture.system.virtual}. It shows emulated parts, not a laptop's."
        told.append(sign + (_NO_PART if emulated else ""))
    return tuple(told)


def _sorted_rest(seen: Scene, judged: Iterable[Finding]) -> dict[str, tuple[Node, ...]]:
    """The nodes that stand for no expected device, by where they belong."""
    taken = [finding.node.location for finding in judged if finding.node is not None]
    sorts: dict[str, list[Node]] = {"external": [], "unexpected": [], "unplaced": [], "infrastructure": []}
    for node in seen.capture.nodes:
        if node.kind in (Kind.DEVICE, Kind.INFRASTRUCTURE) and node.location not in taken:
            sorts[_sort(node, seen, taken)].append(node)
    return {sort: tuple(nodes) for sort, nodes in sorts.items()}


_ALWAYS_DECLARED = frozenset({"acpi", "serio"})
"""Buses on which firmware's declaration makes a node, so that one more means nothing."""
_OF_THE_BOARD = frozenset({"hwmon", "iio"})
"""Buses of what monitoring chips and sensor hubs on a board show, which no profile has to name one by one."""


def _sort(node: Node, seen: Scene, taken: list[str]) -> str:
    """Where a node belongs."""
    placing = seen.placing(node)
    if placing is Placing.OUTSIDE:
        return "external"
    part_of_another = node.bus != "usb" and any(hangs_on(node.location, other) for other in taken)
    beside = node.bus in _ALWAYS_DECLARED | _OF_THE_BOARD or node.rung is Rung.ABSENT
    if node.kind is Kind.INFRASTRUCTURE or beside or part_of_another:
        return "infrastructure"
    if placing is Placing.UNKNOWN:
        return "unplaced"
    return "infrastructure" if "hub" in node.functions else "unexpected"
