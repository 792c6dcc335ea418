"""The page ``docs/seen.md``: what a capture sees of every snapshot of a real kernel, bus by bus.

``python -m support.make_seen docs/seen.md`` (with ``tests`` on the Python
path) writes it. Its rows are those of the captures' own coverage, so a bus
that is read from now on is on the page from now on. Parts are named by what
they do, never by their ids: the emulator's own parts carry real ones.
"""

from __future__ import annotations

import sys
import tarfile
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path

from support.looking import look

from usbwatch.compare import findings
from usbwatch.model import Capture, Coverage, CoverageState, Kind, Node, Rung
from usbwatch.profile import find

__all__ = ["ARCHIVES", "page", "unit_nodes"]

ARCHIVES = Path(__file__).parents[1] / "data" / "trees"
_PROFILE = "fernhill-larch-13"
_HEAD = """\
# What a capture sees

Made by `tests/support/make_seen.py` from the snapshots of a real kernel in `tests/data/trees`. A test compares this
page with what a capture of each gives today, and its figures with those counted from the archives by other means.

All snapshots are of one emulated laptop, the invented Fernhill *Larch 13*. A number is how many nodes of a bus were
seen; *empty* is a bus that was looked at and has nothing on it; *not there* is one that this kernel, or the copy of its
tree, does not have, so that nothing on it may be called missing. Of the log it is how many lines were used.
"""
_PARTS = """\
*Of the unit* are the nodes that do not belong to a helper's device in a socket, by what they do, without interfaces and
ports, with the rung where they did not get as far as *identified* (that firmware declares a part is no word of its own
here); *others* have no function that usbwatch knows. *Drivers* are those that hold a node.
"""


def page(trees: Mapping[str, Path]) -> str:
    """The page, of snapshots by name and the folder that each is unpacked in."""
    captures = {name: look(trees[name]) for name in sorted(trees)}
    parts = [_HEAD, *_overview(captures), _PARTS]
    for name, capture in captures.items():
        parts += [f"## {name}", "", *_snapshot(capture), ""]
    return "\n".join(parts)


def _overview(captures: Mapping[str, Capture]) -> Iterator[str]:
    """One row a bus, one column a snapshot."""
    letters = dict(zip(captures, "ABCDEFGHIJKLMNOPQRSTUVWXYZ", strict=False))
    yield "| bus | " + " | ".join(letters.values()) + " |"
    yield "| --- |" + " ---: |" * len(letters)
    for rows in zip(*(capture.coverage for capture in captures.values()), strict=True):
        yield f"| {rows[0].bus} | " + " | ".join(_figure(row) for row in rows) + " |"
    yield ""
    yield ", ".join(f"{letter}: {name}" for name, letter in letters.items()) + "."
    yield ""


def _figure(coverage: Coverage) -> str:
    return str(coverage.nodes) if coverage.nodes else coverage.state.value


def _snapshot(capture: Capture) -> Iterator[str]:
    """One row a bus: what can be said of the looking, and what was seen."""
    unit = unit_nodes(capture)
    yield "| bus | looked at | nodes | of the unit | drivers |"
    yield "| --- | --- | ---: | --- | --- |"
    there = [one for one in capture.coverage if one.nodes or one.state is not CoverageState.NOT_THERE]
    for coverage in there:
        nodes = [node for node in unit if _is_of(node, coverage.bus)]
        held = sorted({driver for node in nodes for driver in node.driver.split()})
        figures = f"{_looked(coverage)} | {coverage.nodes} | {_parts_of(nodes)} | {', '.join(held)} |"
        yield f"| {coverage.bus} | {figures}"
    yield ""
    yield "Not there: " + ", ".join(one.bus for one in capture.coverage if one not in there) + "."


def _looked(coverage: Coverage) -> str:
    return f"{coverage.state.value}: {coverage.why}" if coverage.why else coverage.state.value


def _is_of(node: Node, bus: str) -> bool:
    """Whether a node is counted with a bus: ports are counted with the bus that they are ports of."""
    return node.bus == bus or node.bus.startswith(f"{bus}-")


def unit_nodes(capture: Capture) -> tuple[Node, ...]:
    """The nodes that belong to the unit, not to a device that someone plugged in."""
    helpers = tuple(node.location for node in findings(capture, find(_PROFILE)).external)
    beyond = tuple(f"{location}{sign}" for location in helpers for sign in "/.")
    return tuple(
        node for node in capture.nodes if node.location not in helpers and not node.location.startswith(beyond)
    )


def _parts_of(nodes: list[Node]) -> str:
    """``camera, keyboard, hub x2, 3 others``."""
    shown = [node for node in nodes if node.kind not in (Kind.INTERFACE, Kind.PORT)]
    counts = Counter(_label(node) for node in shown if node.functions)
    words = [f"{label} x{number}" if number > 1 else label for label, number in sorted(counts.items())]
    others = sum(not node.functions for node in shown)
    if others:
        words.append(f"{others} other{'s' if others > 1 else ''}")
    return ", ".join(words)


def _label(node: Node) -> str:
    """What a node does, of a touchpad not also that it points; and how far it got, where that is not far."""
    told = [function for function in node.functions if function != "pointing-device"]
    label = " and ".join(told or node.functions)
    declared = node.bus == "acpi" and node.rung is Rung.ATTACHED
    return label if declared or node.rung.reaches(Rung.IDENTIFIED) else f"{label} ({node.rung.value})"


def _unpacked(folder: Path) -> dict[str, Path]:
    trees = {}
    for path in sorted(ARCHIVES.glob("*.tar.xz")):
        with tarfile.open(path) as archive:
            if hasattr(tarfile, "data_filter"):  # Python 3.11.4 and later
                archive.extraction_filter = tarfile.data_filter
            archive.extractall(folder)
        name = path.name.removesuffix(".tar.xz")
        trees[name] = folder / name
    return trees


def _write(target: Path) -> None:
    with tempfile.TemporaryDirectory() as folder:
        target.write_text(page(_unpacked(Path(folder))), encoding="utf-8")


if __name__ == "__main__":
    _write(Path(sys.argv[1]))
