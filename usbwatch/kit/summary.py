"""The plain text beside a capture, for a person: what was seen, what could not be seen and why, how to go on."""

from __future__ import annotations

import textwrap
from typing import Iterator, List

from usbwatch.model import Capture, Coverage, CoverageState
from usbwatch.safe import safe

__all__ = ["summary"]

_WIDTH = 72
_NO_BUS = ("dmi", "log", "modules")


def summary(capture: Capture, file_name: str, command: str = "usbwatch check") -> str:
    """The text, of ASCII alone, lines of at most 72 columns ended as every system reads them.

    ``command``: what is to be done with the file at the bench.
    """
    lines = [line for paragraph in _paragraphs(capture, file_name, command) for line in paragraph]
    return "".join(f"{line.encode('ascii', 'backslashreplace').decode('ascii')}\r\n" for line in lines)


def _paragraphs(capture: Capture, file_name: str, command: str) -> Iterator[List[str]]:
    unit, system = capture.unit, capture.system
    name = " ".join(filter(None, (unit.sys_vendor, unit.product_name))) or "a unit that does not say its model"
    yield _wrapped(f"Capture of {safe(name)}")
    yield _wrapped(f"taken {safe(capture.taken_at, 60) or 'at a time that is not known'} by the unit's own clock")
    yield _wrapped(f"kernel {safe(system.kernel, 60) or 'unknown'}; usbwatch {safe(capture.tool, 60)}")
    yield _wrapped("as root" if system.privileged else "NOT as root: some serial numbers and tables were not readable")
    if system.virtual:
        yield _wrapped(f"NOTE: this looks like a virtual machine ({safe(system.virtual, 60)})")
    yield ["", "SEEN"]
    yield [_counted(one) for one in capture.coverage if one.state.seen and one.bus not in _NO_BUS]
    yield ["", "NOT SEEN, AND WHY"]
    unseen = [one for one in capture.coverage if not one.state.seen or one.unread]
    yield [line for one in unseen for line in _reason(one)] or ["  nothing that was looked for"]
    yield ["", "KERNEL LOG"]
    yield _log(capture)
    yield ["", "HOW TO GO ON"]
    yield _wrapped(f"Take this stick to the bench computer and run: {command} {safe(file_name)}", "  ")
    yield _wrapped("Not seen is not the same as missing. The capture holds serial numbers of the unit.", "  ")


def _counted(one: Coverage) -> str:
    return f"  {safe(one.bus, 60):<14}{one.nodes:>5}" + ("" if one.state is CoverageState.OK else "  (none there)")


def _reason(one: Coverage) -> List[str]:
    reasons = [one.why] if one.why else []
    if one.unread and not one.why.startswith(f"{one.unread} files"):
        reasons.append(f"{one.unread} files not read")
    if one.root_would_help:
        reasons.append("as root it can be seen")
    told = safe("; ".join(reasons), 300)
    return textwrap.wrap(f"{safe(one.bus, 60):<14}{told}", _WIDTH, initial_indent="  ", subsequent_indent=" " * 16)


def _log(capture: Capture) -> List[str]:
    log = next((one for one in capture.coverage if one.bus == "log"), None)
    if log is None or not log.state.seen:
        return _wrapped(f"not there: {safe(log.why, 300) if log else 'not looked for'}", "  ")
    troubles = len(capture.episodes)
    return _wrapped(f"there, {log.nodes} lines; it tells of {troubles or 'no'} trouble{'s' * (troubles > 1)}", "  ")


def _wrapped(text: str, indent: str = "") -> List[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
