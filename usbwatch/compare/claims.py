"""What a capture can say at all, and what it cannot for want of rights, claim by claim.

Which files are for root alone: drivers/firmware/dmi-id.c (serial numbers,
0400), dmi_scan.c (the SMBIOS table, 0400), Documentation/admin-guide/sysctl/
kernel.rst (``dmesg_restrict``). Any other file that was refused is told by its
own name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from usbwatch.compare.blind_spots import BUSES_OF_FUNCTION
from usbwatch.compare.scene import bus_of
from usbwatch.model import Capture, Claim, Coverage, ExpectedDevice, Finding, Verdict

__all__ = ["claims"]

_BearsOn = Callable[[ExpectedDevice], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """One claim that every capture is asked for."""

    id: str
    bus: str
    what: str
    file: str = ""
    """The one file of the bus that it rests on; "" for the bus as a whole."""
    bears_on: _BearsOn


_SMBIOS_NAMES = frozenset({"battery", "mouse", "pointing-device", "pointing-stick", "touchpad"})
"""Functions that an SMBIOS record can name (SMBIOS 3.7 sections 7.22 and 7.23)."""

_RULES = (
    _Rule(
        id="log",
        bus="log",
        what="whether the kernel's log has failures (an empty port can be a failed enumeration)",
        bears_on=lambda _device: True,
    ),
    _Rule(
        id="smbios",
        bus="smbios",
        what="the SMBIOS records of pointing device, battery and onboard devices",
        bears_on=lambda device: device.function in _SMBIOS_NAMES,
    ),
    _Rule(
        id="serial-number",
        bus="dmi",
        what="the unit's serial number",
        file="product_serial",
        bears_on=lambda _device: False,
    ),
)


def claims(capture: Capture, devices: Iterable[ExpectedDevice], findings: Iterable[Finding]) -> tuple[Claim, ...]:
    """Every claim that is asked of a capture, and every one beyond those that it could not make for want of rights."""
    unsettled = {one.device for one in findings if _is_open(one)}
    open_ = [device for device in devices if device.id in unsettled]
    coverage = {one.bus: one for one in capture.coverage}
    asked = [_asked(rule, coverage.get(rule.bus), capture, open_) for rule in _RULES]
    further = [claim for one in capture.coverage for claim in _further(one, open_)]
    return (*asked, *further)


def _is_open(finding: Finding) -> bool:
    """Whether more evidence could change a finding: not what works, and not what a lost hub hides."""
    return finding.verdict is not Verdict.PRESENT and not finding.charged_to


def _asked(rule: _Rule, coverage: Coverage | None, capture: Capture, open_: list[ExpectedDevice]) -> Claim:
    made = coverage is not None and coverage.state.seen
    if rule.file:
        made = made and bool(getattr(capture.unit, rule.file))
    return Claim(
        id=rule.id,
        what=rule.what,
        made=made,
        needs_root=not made and coverage is not None and _lacks_rights(coverage, rule.file),
        devices=() if made else tuple(device.id for device in open_ if rule.bears_on(device)),
    )


def _lacks_rights(coverage: Coverage, file: str) -> bool:
    """Whether root would read a bus, or one file of it; captures of old name no files."""
    return coverage.root_would_help and (not file or not coverage.unread_names or file in coverage.unread_names)


def _further(coverage: Coverage, open_: list[ExpectedDevice]) -> Iterator[Claim]:
    """What root would add of a bus beyond the claims of the table."""
    asked = [rule for rule in _RULES if rule.bus == coverage.bus]
    if not coverage.root_would_help or any(not rule.file for rule in asked):
        return
    devices = tuple(device.id for device in open_ if coverage.bus in _buses(device))
    if not coverage.state.seen:
        what = f"what is on {coverage.bus}"
        yield Claim(id=coverage.bus, what=what, made=False, needs_root=True, devices=devices)
    for name in coverage.unread_names:
        if name not in {rule.file for rule in asked}:
            told = f"what the files {name} of {coverage.bus} say"
            yield Claim(id=f"{coverage.bus}/{name}", what=told, made=False, needs_root=True, devices=devices)


def _buses(device: ExpectedDevice) -> frozenset[str]:
    """The buses that a device could show on."""
    if device.locations:
        return frozenset(bus_of(place) for place in device.locations)
    return frozenset(BUSES_OF_FUNCTION.get(device.function, ("usb", "pci")))
