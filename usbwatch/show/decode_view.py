"""The raw bytes of a capture unfolded: node by node, descriptor by descriptor, field by field."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from usbwatch.capture.decode.class_values import FieldValue
from usbwatch.capture.decode.unfold import Row, Unfolded, unfold
from usbwatch.capture.decode.unfolded import DEFECT, UNDECODED
from usbwatch.model import Capture, Node
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.lines import BLANK, Line, Style, line, rule, spread
from usbwatch.show.safe import safe
from usbwatch.show.words import counted, node_name, place, unit_name

__all__ = ["decode_document", "decode_view"]

_OFFSET, _BYTES, _NAME, _VALUE = 6, 14, 24, 10
"""Columns of a row, each with its gap; the meaning takes what is left."""
_BYTES_SHOWN = 4
_IN_HEX = ("bcd", "bm", "id", "wTerminalType", "wFormatTag")
"""Beginnings of the names of fields that are read in hexadecimal: releases, bit maps, identities."""


_READ_AT_CAPTURE = "structure"
"""The raw block of an SMBIOS structure: a capture has read it already, into the node's name and facts."""


def decode_view(nodes: Sequence[Node], width: int) -> list[Line]:
    """Every raw block of the nodes, each byte in one row; a sentence when they have none.

    Structures of SMBIOS come last: they are shown as bytes alone.
    """
    ordered = sorted(nodes, key=lambda node: set(node.raw) <= {_READ_AT_CAPTURE})
    blocks = [(node, name, text) for node in ordered for name, text in sorted(node.raw.items())]
    if not blocks:
        return [
            line("No raw bytes were recorded here: descriptors, EDID and HID reports are kept where there are any.")
        ]
    lines: list[Line] = []
    last: Node | None = None
    for node, name, text in blocks:
        lines += [] if node is last else _node_lines(node, width)
        lines += _block_lines(name, text)
        last = node
    return [*lines, rule("┄", width)]


def _node_lines(node: Node, width: int) -> list[Line]:
    return [rule("┄", width), *spread(line((node_name(node), Style.STRONG)), place(node), width, Style.FAINT)]


def _block_lines(name: str, text: str) -> list[Line]:
    data, problem = _bytes(text)
    lines = [BLANK, line((safe(name, 40), Style.HEADING), (f"  {counted(len(data), 'byte')}", Style.FAINT))]
    if problem:
        return [*lines, line("  ", (f"! {problem}", Style.WRONG), hang=4)]
    return [*lines, *(one for piece in unfold(name, data) for one in _piece_lines(piece, _nameless(name)))]


def _bytes(text: str) -> tuple[bytes, str]:
    """The bytes of a raw block, and what is wrong when it is no hex text (a capture made by hand)."""
    try:
        return bytes.fromhex(text), ""
    except ValueError:
        return b"", "what the capture holds here is no text of hexadecimal digits"


def _nameless(block: str) -> str:
    if block == _READ_AT_CAPTURE:
        return "SMBIOS structure, read at capture: bytes only"
    return "no descriptor can be told here"


def _piece_lines(piece: Unfolded, nameless: str) -> Iterable[Line]:
    name = safe(piece.name, 60) or nameless
    yield line(
        f"{piece.offset:>{_OFFSET - 2}}  ",
        (name, Style.STRONG),
        (f"  {counted(piece.length, 'byte')}", Style.FAINT),
        hang=_OFFSET,
    )
    yield from (_row_line(row) for row in piece.rows)


def _row_line(row: Row) -> Line:
    if row.kind == DEFECT:
        return line(f"{row.offset:>{_OFFSET - 2}}  ", (f"! {safe(str(row.value))}", Style.WRONG), hang=_OFFSET + 2)
    offset = (f"{row.offset:>{_OFFSET - 2}}  ", Style.FAINT)
    if row.kind == UNDECODED:
        return line(offset, ("not decoded".ljust(_BYTES), Style.UNSEEN), _spaced(row.hex), hang=_OFFSET + _BYTES)
    return line(
        offset,
        (_first_bytes(row.hex).ljust(_BYTES), Style.FAINT),
        f"{safe(row.name, 40)} ".ljust(_NAME),
        f"{_value(row)} ".ljust(_VALUE),
        (safe(row.meaning), Style.FINE),
        hang=_OFFSET + _BYTES,
    )


def _spaced(digits: str) -> str:
    return " ".join(digits[at : at + 2] for at in range(0, len(digits), 2))


def _first_bytes(digits: str) -> str:
    shown = _spaced(digits[: 2 * _BYTES_SHOWN])
    return f"{shown}…" if len(digits) > 2 * _BYTES_SHOWN else shown


def _value(row: Row) -> str:
    if row.value == row.hex:  # bits without a number of their own: all of them, unless they stand beside it already
        return "" if row.meaning or row.length <= _BYTES_SHOWN else _spaced(row.hex)
    return _number(row.name, row.value, row.length)


def _number(name: str, value: FieldValue, length: int) -> str:
    if isinstance(value, tuple):
        return safe(" ".join(str(one) for one in value))
    if isinstance(value, str):
        return safe(value)
    return f"0x{value:0{2 * length}x}" if name.startswith(_IN_HEX) else str(value)


def decode_document(capture: Capture, nodes: Sequence[Node]) -> dict[str, Json]:
    """The same as a ``usbwatch-decode`` document: bytes as lower-case hex, numbers as numbers."""
    return {
        "format": "usbwatch-decode",
        "schema": 1,
        "tool": plain_value(capture.tool),
        "taken_at": plain_value(capture.taken_at),
        "unit": plain_value(unit_name(capture.unit)),
        "nodes": [_node_document(node) for node in nodes if node.raw],
    }


def _node_document(node: Node) -> Json:
    return {
        "bus": plain_value(node.bus),
        "location": plain_value(node.location),
        "identity": plain_value(node.identity),
        "name": plain_value(node.name),
        "blocks": [_block_document(name, text) for name, text in sorted(node.raw.items())],
    }


def _block_document(name: str, text: str) -> Json:
    data, problem = _bytes(text)
    document: dict[str, Json] = {"block": plain_value(name), "bytes": len(data)}
    if problem:
        return document | {"problem": problem}
    return document | {"descriptors": plain_value(unfold(name, data))}
