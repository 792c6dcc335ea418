"""The demo's captures, made by the capture room from invented trees.

``python -m support.make_captures captures`` (with ``tests`` on the Python
path) writes them into the folder ``captures``.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from support.looking import look
from support.sysfs import Conditions, build
from support.tree.parts import Laptop
from support.units import HERON, LARCH, PLOVER

from usbwatch.capture import to_json

__all__ = ["SHIPPED", "Shipped", "made"]

_KERNEL = "6.12.0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shipped:
    """One shipped capture: of which unit, in which condition, and when it is said to have been taken."""

    laptop: Laptop
    taken_at: str
    conditions: Conditions


SHIPPED: dict[str, Shipped] = {
    # Everything that the top-case flex carries is lost: keyboard, touchpad and fingerprint reader have left their
    # ports, and the gauge is mute. Lid sensor and power button hang on the flex too, but firmware declares them
    # whatever is on their lines. The pack still counts as present: firmware answers for the bay, so it proves no line.
    "larch-13-top-case-lost": Shipped(
        laptop=LARCH,
        taken_at="2026-03-02T09:14:00Z",
        conditions=Conditions(kernel=_KERNEL, missing=("keyboard", "touchpad", "fingerprint-reader"), battery="silent"),
    ),
    "larch-13-after-top-case": Shipped(
        laptop=LARCH,
        taken_at="2026-03-02T10:47:00Z",
        conditions=Conditions(kernel=_KERNEL, battery="silent"),
    ),
    "larch-13-healthy": Shipped(laptop=LARCH, taken_at="2026-03-02T11:26:00Z", conditions=Conditions(kernel=_KERNEL)),
    "heron-14-touchpad-silent": Shipped(
        laptop=HERON,
        taken_at="2026-03-09T13:02:00Z",
        conditions=Conditions(kernel=_KERNEL, missing=("touchpad",)),
    ),
    "heron-14-healthy": Shipped(laptop=HERON, taken_at="2026-03-09T14:18:00Z", conditions=Conditions(kernel=_KERNEL)),
    "plover-12-healthy": Shipped(laptop=PLOVER, taken_at="2026-03-16T08:40:00Z", conditions=Conditions(kernel=_KERNEL)),
}
"""By file name without ``.json``."""


def made(shipped: Shipped) -> str:
    """The text of a capture file."""
    with tempfile.TemporaryDirectory() as folder:
        root = build(shipped.laptop, Path(folder) / "unit", shipped.conditions)
        return to_json(look(root, taken_at=shipped.taken_at))


def _write(folder: Path) -> None:
    for name, shipped in SHIPPED.items():
        (folder / f"{name}.json").write_text(made(shipped), encoding="utf-8")


if __name__ == "__main__":
    _write(Path(sys.argv[1]))
