"""The demo's captures, made by the capture room from invented trees.

``python -m support.make_captures captures`` (with ``tests`` on the Python
path) writes them into the folder ``captures``.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from support.blinking import PLACES, watched
from support.looking import look
from support.sysfs import Conditions, build
from support.tree.parts import Battery, Laptop, Radio
from support.units import HERON, LARCH, PLOVER

from usbwatch.capture import to_json
from usbwatch.model import Mark

__all__ = ["SHIPPED", "Shipped", "made"]

_KERNEL = "6.12.0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shipped:
    """One shipped capture: of which unit, in which condition, and when it is said to have been taken."""

    laptop: Laptop
    taken_at: str
    conditions: Conditions
    leaving: tuple[tuple[str, tuple[tuple[int, int], ...]], ...] = ()
    """Of one that was watched for four minutes after it: the places that were left, at which moments, for how long."""
    marks: tuple[Mark, ...] = ()


def _with_board(laptop: Laptop, *, serial: str, address: str) -> Laptop:
    """The unit with another mainboard of the same revision and firmware.

    The board brings its own serial number (SMBIOS type 2) and its network interface's address. The unit's and the
    case's serial numbers (types 1 and 3) are kept in the board's firmware too: the shop has written the unit's own
    into it. The UUID of a board is its own as well, and no capture holds it.
    """
    ethernet = Radio(name="eth", address=address)
    pci = tuple(replace(part, radio=ethernet) if part.radio else part for part in laptop.pci)
    return replace(laptop, dmi=laptop.dmi | {"board_serial": serial}, pci=pci)


def _with_pack(laptop: Laptop, pack: Battery) -> Laptop:
    return replace(laptop, acpi=tuple(replace(part, battery=pack) if part.battery else part for part in laptop.acpi))


_REPAIRED = _with_board(LARCH, serial="LG-M002-DEMO", address="02:4c:47:00:00:11")
_USED_PACK = Battery(
    model="LB-4C50",
    manufacturer="Fernhill Cells",
    serial="LG-B104-DEMO",
    cycle_count=312,
    full_design=4390000,
    full=3246000,
    now=2110000,
    voltage_now=11704000,
    voltage_min_design=11400000,
    current_now=790000,
)
"""A pack of the same type that somebody fitted in the summer: used, and worn more than the one that left the shop."""


_WATCHED_SERIALS = {"product_serial": "LG-0004-DEMO", "chassis_serial": "LG-0004-DEMO"}
_ADDRESS_4 = "02:4c:47:00:00:14"
_BLINKS = ((41_200, 600), (44_900, 2300), (83_350, 450), (119_700, 900), (121_900, 3100), (163_400, 700))
_LOOSE_FLEX = (
    *((PLACES[id_], _BLINKS) for id_ in ("keyboard", "touchpad", "fingerprint-reader")),
    (PLACES["battery"], ((45_600, 2000), (122_400, 4000))),
)


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
    # The gauge stayed silent with another top case, so the mainboard was replaced: its gauge lines were at fault.
    "larch-13-repaired": Shipped(
        laptop=_REPAIRED, taken_at="2026-03-06T15:40:00Z", conditions=Conditions(kernel=_KERNEL)
    ),
    # Six months later nothing is broken, and the battery pack is not the one that the unit left with.
    "larch-13-returned": Shipped(
        laptop=_with_pack(_REPAIRED, _USED_PACK),
        taken_at="2026-09-08T08:25:00Z",
        conditions=Conditions(kernel=_KERNEL),
    ),
    "heron-14-touchpad-silent": Shipped(
        laptop=HERON,
        taken_at="2026-03-09T13:02:00Z",
        conditions=Conditions(kernel=_KERNEL, missing=("touchpad",)),
    ),
    "heron-14-healthy": Shipped(laptop=HERON, taken_at="2026-03-09T14:18:00Z", conditions=Conditions(kernel=_KERNEL)),
    # Somebody pressed and lifted the top case for four minutes: what its flex carries came and went together, while the
    # smart card reader on the same hub stayed. The gauge is read every two seconds and missed the short ones.
    "larch-13-watched": Shipped(
        laptop=_with_board(replace(LARCH, dmi=LARCH.dmi | _WATCHED_SERIALS), serial="LG-0004-DEMO", address=_ADDRESS_4),
        taken_at="2026-03-11T10:02:00Z",
        conditions=Conditions(kernel=_KERNEL),
        leaving=_LOOSE_FLEX,
        marks=(
            Mark(at_ms=38_000, text="pressed the palm rest, left"),
            Mark(at_ms=118_500, text="lifted the keyboard's edge"),
            Mark(at_ms=186_000, text="moved the screen"),
        ),
    ),
    "plover-12-healthy": Shipped(laptop=PLOVER, taken_at="2026-03-16T08:40:00Z", conditions=Conditions(kernel=_KERNEL)),
}
"""By file name without ``.json``."""


def made(shipped: Shipped) -> str:
    """The text of a capture file."""
    with tempfile.TemporaryDirectory() as folder:
        root = build(shipped.laptop, Path(folder) / "unit", shipped.conditions)
        capture = look(root, taken_at=shipped.taken_at)
    if shipped.leaving:
        capture = watched(capture, dict(shipped.leaving), shipped.marks)
    return to_json(capture)


def _write(folder: Path) -> None:
    for name, shipped in SHIPPED.items():
        (folder / f"{name}.json").write_text(made(shipped), encoding="utf-8")


if __name__ == "__main__":
    _write(Path(sys.argv[1]))
