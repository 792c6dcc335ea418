"""What stands in one block of the drawing: its name, then device by device, sections in doubt drawn round theirs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from usbwatch.model import PartKind, Verdict
from usbwatch.show.report.letters import fitted, text_width
from usbwatch.show.report.value import Block, Device, Joint
from usbwatch.show.safe import safe
from usbwatch.show.words import WORDS, percent

__all__ = [
    "SIGN",
    "SMALL",
    "TEXT",
    "TITLE",
    "URGENCY",
    "Piece",
    "badge",
    "contents",
    "height_of",
    "tab_height",
    "tab_lines",
]

TITLE, TEXT, SMALL = 14.0, 13.0, 11.5
"""Type sizes."""

SIGN = 24
"""Room for a state's shape, left of its name."""

_PAD = 10
_LEAD = 17.0
_ROW = 5
_SET_IN = 8
_LEAST = 60
"""Room that a device's name needs beside its state."""
_LONGEST = 400

URGENCY = (
    Verdict.MISSING,
    Verdict.IMPAIRED,
    Verdict.SUBSTITUTED,
    Verdict.MOVED,
    Verdict.UNSEEN,
    Verdict.PRESENT,
)
"""The order of the devices within a block."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One row of a block, or the outline of a section; places are within the block."""

    kind: str
    """``title``, ``badge``, ``device``, ``below`` (a device whose state stands below its name), ``none``,
    ``section`` (an outline) or ``name`` (a section's)."""
    x: float
    y: float
    width: float
    height: float
    lines: tuple[str, ...] = ()
    device: Device | None = None
    chance: float | None = None


def badge(chance: float, *, likeliest: bool) -> str:
    """What marks a suspect."""
    return f"{'likeliest cause' if likeliest else 'suspect'}, {percent(chance)}"


def contents(block: Block, width: float) -> Iterator[Piece]:
    """Every row of the block, from the top down."""
    y = 8.0
    for piece in _head(block, width):
        yield _moved(piece, y)
        y += piece.height
    shown = _sections(block)
    rest = sorted(block.devices, key=lambda device: URGENCY.index(device.verdict))
    for section in shown:
        inside = [device for device in rest if section.id in device.needs]
        if not inside and section.probability is None:
            continue
        rest = [device for device in rest if device not in inside]
        for piece in _section(section, inside, width):
            yield _moved(piece, y)
        y += _section_height(section, inside, width) + 6
    for device in rest:
        piece = _device(device, _PAD, width - 2 * _PAD)
        yield _moved(piece, y)
        y += piece.height
    if not block.devices:
        none = fitted("no device expected", width - 2 * _PAD, SMALL, lines=2)
        yield Piece(kind="none", x=_PAD, y=y, width=width - 2 * _PAD, height=15.0 * len(none) + 2, lines=none)


def height_of(pieces: Sequence[Piece]) -> float:
    """How high a block with these rows is."""
    return max(piece.y + piece.height for piece in pieces) + 8


def tab_height(joint: Joint, width: float) -> tuple[float, float]:
    """Height and width of a link's tab, at most as wide as its block."""
    lines = tab_lines(joint, width, likeliest=True)
    wide = max(text_width(line, SMALL, bold=joint.probability is not None) for line in lines)
    return 15.0 * len(lines) + 7, min(width, wide + 2 * _PAD)


def tab_lines(joint: Joint, width: float, *, likeliest: bool) -> tuple[str, ...]:
    """The link's name, and below it that it is suspected."""
    name = fitted(_told(joint.name), width - 2 * _PAD, SMALL, lines=2, bold=joint.probability is not None)
    return name if joint.probability is None else (*name, badge(joint.probability, likeliest=likeliest))


def _told(name: str) -> str:
    return safe(name, _LONGEST)


def _moved(piece: Piece, y: float) -> Piece:
    return replace(piece, y=piece.y + y)


def _head(block: Block, width: float) -> Iterator[Piece]:
    room = width - 2 * _PAD
    name = fitted(_told(block.name).upper(), room, TITLE, lines=2, bold=True)
    yield Piece(kind="title", x=_PAD, y=0, width=room, height=18.0 * len(name) + 4, lines=name)
    if block.probability is not None:
        yield Piece(kind="badge", x=_PAD, y=0, width=room, height=24, chance=block.probability)


def _sections(block: Block) -> list[Joint]:
    """Rails and sections in doubt, and those that devices share of which one is not well."""
    wrong = [device for device in block.devices if device.verdict in URGENCY[:4]]
    shared = [
        one
        for one in block.inner
        if one.probability is not None
        or (any(one.id in device.needs for device in wrong) and sum(one.id in d.needs for d in block.devices) > 1)
    ]
    return sorted(shared, key=lambda one: -(one.probability or 0))[:3]


def _section_lines(section: Joint, width: float) -> tuple[str, ...]:
    kind = "supply" if section.kind is PartKind.RAIL else "section"
    room = width - 2 * _PAD - 2 * _SET_IN
    return fitted(f"{_told(section.name)} ({kind})", room, SMALL, lines=2)


def _section_height(section: Joint, inside: Sequence[Device], width: float) -> float:
    names = 15.0 * len(_section_lines(section, width)) + (28 if section.probability is not None else 5)
    rows = sum(_device(one, 0, width - 2 * _PAD - 2 * _SET_IN).height for one in inside)
    return names + rows + 12


def _section(section: Joint, inside: Sequence[Device], width: float) -> Iterator[Piece]:
    lines = _section_lines(section, width)
    room = width - 2 * _PAD
    height = _section_height(section, inside, width)
    yield Piece(kind="section", x=_PAD, y=0, width=room, height=height, chance=section.probability)
    x, room, y = _PAD + _SET_IN, room - 2 * _SET_IN, 5.0
    yield Piece(kind="name", x=x, y=y, width=room, height=15.0 * len(lines), lines=lines)
    y += 15.0 * len(lines)
    if section.probability is not None:
        yield Piece(kind="badge", x=x, y=y + 5, width=room, height=22, chance=section.probability)
        y += 23
    y += 5
    for device in inside:
        piece = _device(device, x, room)
        yield _moved(piece, y)
        y += piece.height


def _device(device: Device, x: float, width: float) -> Piece:
    wrong = device.verdict is not Verdict.PRESENT
    word = text_width(WORDS[device.verdict], SMALL, bold=wrong)
    beside = fitted(_told(device.name), width - SIGN - word - 8, TEXT, lines=2, bold=wrong)
    below = width - SIGN - word - 8 < _LEAST or beside[-1].endswith("…")
    lines = fitted(_told(device.name), width - SIGN, TEXT, lines=3, bold=wrong) if below else beside
    height = _LEAD * (len(lines) + below) + _ROW
    kind = "below" if below else "device"
    return Piece(kind=kind, x=x, y=0, width=width, height=height, lines=lines, device=device)
