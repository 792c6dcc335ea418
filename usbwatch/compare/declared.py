"""What firmware says the unit has, and what the kernel found of it; no profile is asked.

ACPI goes on naming parts that a variant does not carry and parts that have
died, SMBIOS is written from templates, and port tables are copied between
models: each is evidence, none is proof, of presence or of absence. What lies
where this look could not see is *not seen*, never *not found*.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from usbwatch.compare.declared_acpi import acpi_declarations
from usbwatch.compare.declared_ports import PORT_TABLE, port_declarations
from usbwatch.compare.declared_smbios import smbios_declarations
from usbwatch.compare.declared_soundwire import soundwire_declarations
from usbwatch.compare.scene import scene
from usbwatch.model import Capture, Declaration, DeclaredState, Finding, Verdict

__all__ = ["beside_firmware", "declarations", "is_empty_port"]


def declarations(capture: Capture) -> tuple[Declaration, ...]:
    """Every internal part that firmware names, by location, with what the kernel found of it."""
    seen = scene(capture)
    sources = (acpi_declarations, port_declarations, smbios_declarations, soundwire_declarations)
    found = [one for source in sources for one in source(seen)]
    return tuple(sorted(_once(found), key=lambda one: one.where))


def _once(found: list[Declaration]) -> list[Declaration]:
    """A battery that ACPI and SMBIOS both name is one part, where each names just one."""
    acpi, smbios = ([one for one in found if _is_battery(one, start)] for start in ("acpi/", "dmi/"))
    if len(acpi) != 1 or len(smbios) != 1:
        return found
    both = replace(acpi[0], said_by=f"{acpi[0].said_by}; {smbios[0].said_by}")
    return [both if one is acpi[0] else one for one in found if one is not smbios[0]]


def _is_battery(one: Declaration, start: str) -> bool:
    return one.function == "battery" and one.where.startswith(start)


def is_empty_port(declaration: Declaration) -> bool:
    """Whether it is a hardwired port on which nothing enumerated."""
    return declaration.state is DeclaredState.NOT_FOUND and declaration.said_by.startswith(PORT_TABLE)


_NOT_ON_USB = frozenset(
    {"battery", "disk", "fan", "graphics", "lid", "mains-adapter", "panel", "power-button", "usb-controller"}
)
"""Functions whose part is never wired to a USB port inside a laptop (common practice, no source)."""


def beside_firmware(finding: Finding, function: str, declared: Iterable[Declaration]) -> Finding:
    """The finding of a device that has no place of its own, with where firmware says something is wired.

    A part that was not found, or that could not be seen, may be the one that an empty hardwired port is for.
    """
    if finding.verdict not in (Verdict.MISSING, Verdict.UNSEEN) or finding.charged_to or function in _NOT_ON_USB:
        return finding
    ports = [one.where for one in declared if is_empty_port(one)]
    if not ports:
        return finding
    reason = f"firmware says that something is wired to {' and '.join(ports)}, where nothing is: it may be this"
    return replace(finding, reasons=(*finding.reasons, reason))
