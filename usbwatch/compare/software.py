"""Whether software can explain what became of a device: what the looking system was told, lacks, or keeps quiet.

Each rule looks at one such cause, and the first that speaks is told. A cause
that keeps a device from showing at all makes "missing" into "unseen": what
nobody could have seen is not lost. A mere possibility (what a person may have
switched off in firmware set-up) is told and changes nothing.

Kernel parameters: Documentation/admin-guide/kernel-parameters.txt. Status bits
of ACPI objects: ACPI 6.5 section 6.3.7 (bit 0 present, bit 1 enabled). Port
words: Documentation/ABI/testing/sysfs-bus-usb. Radio switches:
Documentation/ABI/stable/sysfs-class-rfkill.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from usbwatch.capture.software import COMMAND_LINE, DRIVER_LIST, SILENT_WITHOUT_DRIVER
from usbwatch.compare.blind_spots import BUSES_OF_FUNCTION
from usbwatch.compare.scene import Placing, Scene, bus_of
from usbwatch.model import ExpectedDevice, Finding, Node, Rung, Software, Symptom, Verdict, hangs_on, outward

__all__ = ["with_software"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cause:
    """How software can explain a finding."""

    told: str
    hides: bool = False
    """Whether it would keep a healthy device from showing at all."""
    would_tell: str = ""


_Rule = Callable[[ExpectedDevice, Finding, Scene], "_Cause | None"]


_EXPLAINED = (Verdict.MISSING, Verdict.IMPAIRED, Verdict.UNSEEN)


def with_software(device: ExpectedDevice, finding: Finding, scene: Scene) -> Finding:
    """The same finding, with what software can say to it; one that hides the device is held against no part.

    What a rule of the finding's own has said already stands.
    """
    if finding.software or finding.charged_to or finding.verdict not in _EXPLAINED:
        return finding
    cause = next((found for rule in _RULES if (found := rule(device, finding, scene))), None)
    if cause is None:
        return finding
    told = replace(finding, software=cause.told)
    if finding.verdict is not Verdict.MISSING or not cause.hides:
        return told
    return replace(told, verdict=Verdict.UNSEEN, symptom=Symptom.UNSEEN, would_tell=cause.would_tell)


_BLINDING = {
    "acpi=off": "acpi",
    "i8042.noaux": "serio/aux",
    "i8042.nokbd": "serio/kbd",
    "nomodeset": "drm",
    "nousb": "usb",
    "pci=off": "pci",
    "usbcore.nousb": "usb",
}
"""What a kernel parameter keeps from showing (kernel-parameters.txt; plain ``nousb``: drivers/usb/core/usb.c)."""

_FIRMWARE_SHOWN = frozenset({"battery", "mains-adapter", "lid", "power-button"})


def _started_without(device: ExpectedDevice, finding: Finding, scene: Scene) -> _Cause | None:
    """A kernel that was started without looking at what could show the device."""
    if finding.node is not None and finding.node.rung is not Rung.ABSENT:
        return None
    ways = set(_ways(device))
    given = next((one for one in scene.capture.software.switches if _BLINDING.get(one) in ways), "")
    if given:
        told = f"the kernel was started with {given}"
        return _Cause(told=told, hides=True, would_tell=f"start without {given} and capture again")
    port = next((way for way in ways if way.startswith("serio/")), "")
    if port and device.locations and finding.node is None and COMMAND_LINE not in scene.capture.software.seen:
        return _Cause(told=f"the kernel may have been started with i8042.no{port[6:]} (its command line was not seen)")
    return None


def _ways(device: ExpectedDevice) -> Iterator[str]:
    """What a device could show on, in the words of ``_BLINDING``."""
    for place in device.locations:
        bus = bus_of(place)
        yield f"serio/{place.rpartition('/')[2]}" if bus == "serio" else bus
        yield "pci" if place.startswith("pci") else bus
    if device.locations:
        return
    if device.function in _FIRMWARE_SHOWN:
        yield "acpi"
    for bus in BUSES_OF_FUNCTION.get(device.function, ("usb", "pci")):
        yield bus if bus != "serio" else f"serio/{'kbd' if device.function == 'keyboard' else 'aux'}"


def _not_authorised(_device: ExpectedDevice, finding: Finding, scene: Scene) -> _Cause | None:
    """Documentation/usb/authorization.rst: a device, or an interface of it, that policy does not let in."""
    if finding.symptom is not Symptom.UNDRIVEN or finding.node is None:
        return None
    if not any(node.facts.get("authorized") == 0 for node in _in_and_under(finding.node, scene)):
        return None
    default = next((one for one in scene.capture.software.switches if one.startswith("usbcore.authorized")), "")
    return _Cause(told="this system does not authorise it" + (f" ({default})" if default else ""))


def _in_and_under(node: Node, scene: Scene) -> list[Node]:
    return [node, *(other for other in scene.capture.nodes if hangs_on(other.location, node.location))]


_BLOCKS = (("hard", "a switch or firmware blocks the radio"), ("soft", "software blocks the radio"))
_RADIOS = frozenset({"bluetooth", "wlan", "wwan"})
"""Functions that are also the words of a radio switch's ``type``."""


def _blocked(device: ExpectedDevice, finding: Finding, scene: Scene) -> _Cause | None:
    """A radio that is kept quiet, or that a switch of the unit's own takes off its bus."""
    if device.function not in _RADIOS or finding.symptom not in (Symptom.UNDRIVEN, Symptom.ABSENT, Symptom.UNSEEN):
        return None
    rfkill = (node for node in scene.capture.nodes if node.bus == "rfkill")
    switches = [switch for switch in rfkill if _is_switch_of(switch, device, finding, scene)]
    for kind, told in _BLOCKS:
        shut = next((switch for switch in switches if switch.facts.get(kind) == 1), None)
        if shut is not None:
            where = f" ({shut.location})" if finding.node is None else ""
            return _Cause(told=told + where, hides=True, would_tell="unblock the radio and capture again")
    return None


def _is_switch_of(switch: Node, device: ExpectedDevice, finding: Finding, scene: Scene) -> bool:
    """The switch on the radio itself; of one that is not there, a switch of the platform, which can cut its supply."""
    if finding.node is not None and finding.node.rung is not Rung.ABSENT:
        return hangs_on(switch.location, finding.node.location)
    if switch.facts.get("type") != device.function or scene.placing(switch) is not Placing.INSIDE:
        return False
    carriers = (node for place in outward(switch.location) for node in scene.at.get(place, ()))
    return not any(_RADIOS & set(node.functions) for node in carriers)


_PRESENT, _ENABLED = 1, 2
_IN_SETUP = frozenset({"bluetooth", "camera", "fingerprint-reader", "touchpad", "wlan"})
"""Functions that firmware set-up often lets a person switch off (common practice, no source)."""


def _firmware_setup(device: ExpectedDevice, finding: Finding, scene: Scene) -> _Cause | None:
    """Firmware that has a device disabled, or whose word for its place is what it is when somebody switched it off."""
    if finding.verdict is Verdict.IMPAIRED:
        return None
    objects = [node for place in _places(device, finding) for node in scene.at.get(place, ()) if node.bus == "acpi"]
    statuses = [status for node in objects if isinstance(status := node.facts.get("status"), int)]
    disabled = next((status for status in statuses if status & _PRESENT and not status & _ENABLED), None)
    if disabled is not None:
        told = f"firmware has it disabled (ACPI status {disabled}: present, not enabled)"
        return _Cause(told=told, hides=True, would_tell="enable it in the firmware set-up and capture again")
    ports = [scene.ports[place] for place in _places(device, finding) if place in scene.ports]
    unused = any(port.facts.get("connect_type") == "not used" for port in ports)
    if device.function in _IN_SETUP and finding.verdict is Verdict.MISSING and (unused or 0 in statuses):
        word = "declares its port as not used" if unused else "says that it is not fitted"
        return _Cause(told=f"firmware {word}: it can be switched off in firmware set-up, look there")
    return None


def _places(device: ExpectedDevice, finding: Finding) -> tuple[str, ...]:
    return device.locations if finding.node is None else (finding.node.location,)


def _no_driver(device: ExpectedDevice, finding: Finding, scene: Scene) -> _Cause | None:
    """A driver that this kernel does not have, was told not to load, did not load, or that left the device alone."""
    if finding.symptom not in (Symptom.UNDRIVEN, Symptom.UNSEEN):
        return None
    software = scene.capture.software
    own = [node.location for node in _in_and_under(finding.node, scene)] if finding.node is not None else []
    lacking = _undriven_place(own, software)
    if lacking:
        return _Cause(told=_driver_told(software.drivers_for[lacking], software, "its"))
    carriers = [other for place in _places(device, finding) for other in outward(place)]
    carrier = _undriven_place(carriers, software) if finding.symptom is Symptom.UNSEEN else ""
    if carrier:
        return _Cause(told=_driver_told(software.drivers_for[carrier], software, f"the controller's ({carrier})"))
    if finding.symptom is Symptom.UNDRIVEN and (DRIVER_LIST not in software.seen or _is_always_listed(finding)):
        return _Cause(told="whether this kernel has a driver for it was not seen")
    return None


def _is_always_listed(finding: Finding) -> bool:
    """Whether a whole list of drivers would have named the node's place, be it with no driver at all."""
    return finding.node is not None and finding.node.bus not in SILENT_WITHOUT_DRIVER


def _undriven_place(places: Iterable[str], software: Software) -> str:
    """The first of some places that no driver holds, "" where each has one; where there is one to load, first."""
    known = software.drivers_for
    return next(iter(sorted((place for place in places if place in known), key=lambda one: not known[one])), "")


def _driver_told(modules: tuple[str, ...], software: Software, its: str) -> str:
    if not modules:
        return "this kernel has no driver for it" if its == "its" else f"this kernel lacks {its} driver"
    running = [module for module in modules if module in software.loaded]
    if running:
        return f"{its} driver {running[0]} is loaded and does not hold it"
    for one in software.blacklisted:
        if one.module in modules:
            return f"{its} driver {one.module} is blacklisted ({one.where})"
    why = ": the kernel was started with nomodule" if "nomodule" in software.switches else ""
    return f"{its} driver {' or '.join(modules[:2])} is there, and not loaded{why}"


_RULES: tuple[_Rule, ...] = (_started_without, _not_authorised, _blocked, _firmware_setup, _no_driver)
