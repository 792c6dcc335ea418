"""Captures of invented units that differ as real ones do: from the shipped captures, with other values filled in.

The canonical bytes of each shipped capture are cut where a value changes from
one look to the next (time, serial numbers, charge, voltage, current, cycles)
and joined again around new values, which keeps them canonical. Before that, a
device and what hangs on it may be taken out, as if it were missing.
"""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from usbwatch.capture.document import canonical
from usbwatch.capture.saved import load_saved
from usbwatch.casebook import Paper
from usbwatch.casebook.rules import folded
from usbwatch.model.history import PartSerial

__all__ = ["Template", "capture_paper", "moment", "templates"]

_CAPTURES = Path(__file__).parents[2] / "captures"
_MARK = "\u2042"
"""An asterism: no capture has one."""
_WITH_MARK = 987_000_000_000
"""Numbers are marked by a value that no capture has; the field's index is added."""
_NUMBERS = ("capacity", "charge_now", "current_now", "cycle_count", "voltage_now", "charge_full")


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """A capture, cut where values are to be filled in."""

    model: str
    family: str
    pieces: tuple[bytes, ...]
    """One more than there are values."""
    values: tuple[str, ...]
    """What each value is: ``time``, ``unit``, ``board``, … or the name of a number."""


@cache
def templates() -> tuple[Template, ...]:
    """One for each shipped capture as it is, and for each with one USB device taken out."""
    made: list[Template] = []
    for path in sorted(_CAPTURES.glob("*-*.json")):
        document = json.loads(load_saved(str(path)).content)
        model = f"{document['unit']['sys_vendor']}-{document['unit']['product_name']}".lower().replace(" ", "-")
        parts = [node["location"] for node in document["nodes"] if node["bus"] == "usb" and node["kind"] == "device"]
        made += [_template(document, model, without) for without in ["", *parts]]
    return tuple(made)


def _template(document: dict[str, object], model: str, without: str) -> Template:
    marked = json.loads(json.dumps(document))
    if without:
        marked["nodes"] = [node for node in marked["nodes"] if not _hangs_on(node, without)]
    values = _mark(marked)
    content = canonical(marked)
    for index in range(len(values)):
        token = f"{_MARK}{index}{_MARK}".encode()
        content = content.replace(b"%d" % (_WITH_MARK + index), token)
    pieces = content.split(_MARK.encode())
    unit = marked["unit"]
    return Template(
        model=model,
        family=folded(f"{unit['sys_vendor']} {unit['product_name']}"),
        pieces=tuple(pieces[0::2]),
        values=tuple(values[int(index)] for index in pieces[1::2]),
    )


def _hangs_on(node: dict[str, object], location: str) -> bool:
    at = str(node["location"])
    return node["bus"] != "usb-port" and (at == location or at.startswith((f"{location}/", f"{location}.")))


def _mark(document: dict[str, object]) -> list[str]:
    """Put a mark in the place of each value that changes; what they are, by the mark's index."""
    values = ["time", "unit"]
    document["taken_at"] = f"{_MARK}0{_MARK}"
    unit, nodes = document["unit"], document["nodes"]
    assert isinstance(unit, dict)
    assert isinstance(nodes, list)
    unit["product_serial"] = f"{_MARK}1{_MARK}"
    for node in nodes:
        facts = node.get("facts", {})
        for name in ("serial", "serial_number"):
            if node["kind"] != "infrastructure" and name in facts:
                facts[name] = f"{_MARK}{len(values)}{_MARK}"
                values.append(str((node.get("functions") or [node["bus"]])[0]))
        for name in _NUMBERS:
            if node["bus"] == "power_supply" and isinstance(facts.get(name), int):
                facts[name] = _WITH_MARK + len(values)
                values.append(name)
    return values


def capture_paper(template: Template, unit: int, look: int, draw: random.Random) -> Paper:
    """A capture of invented unit ``unit``: its serial numbers stay, what a battery says does not."""
    filled = [template.pieces[0]]
    serials: dict[str, str] = {}
    for what, piece in zip(template.values, template.pieces[1:], strict=True):
        if what == "time":
            value = moment(unit * 7200 + look * 300)
        elif what in _NUMBERS:
            value = str(
                draw.randrange(10, 100) if what in {"capacity", "cycle_count"} else draw.randrange(10**6, 10**7)
            )
        else:
            value = serials[what] = f"LG-{what[:3].upper()}{unit:06d}-DEMO"
        filled += [value.encode(), piece]
    parts = tuple(PartSerial(of=of, serial=serial) for of, serial in serials.items() if of != "smbios")
    return Paper(kind="capture", content=b"".join(filled), family=template.family, serials=parts)


def moment(second: int) -> str:
    """An invented time: so many seconds after the invented bench opened its book."""
    from datetime import UTC, datetime, timedelta

    return (datetime(2000, 1, 1, tzinfo=UTC) + timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ")


def of_model(all_of_them: Sequence[Template], model: str) -> list[Template]:
    """The templates of one model."""
    return [one for one in all_of_them if one.model == model]
