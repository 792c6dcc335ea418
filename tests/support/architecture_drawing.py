"""docs/pictures/rooms.svg: the rooms of the program and the imports between them, drawn from the code.

The order is that of import-linter's contract in ``pyproject.toml``, the imports
are those that grimp finds (also those inside functions; not those for type
annotations alone). The drawing is a design structure matrix: a mark in a row
says that the room of the row imports the room of the column, so in the order
of the layers every mark lies right of the diagonal (D. V. Steward,
"The design structure system: a method for managing the design of complex
systems", IEEE Transactions on Engineering Management 28, 1981; from memory).

``PYTHONPATH=tests python -m support.architecture_drawing``.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any
from xml.sax.saxutils import escape

import grimp
from support.make_readme import ROOT

__all__ = ["PICTURE", "Rooms", "drawn", "rooms_of_the_code"]

PICTURE = ROOT / "docs" / "pictures" / "rooms.svg"
PACKAGE = "usbwatch"

_CELL = 17
_LEFT, _TOP = 88, 84
_FEW, _SOME = 3, 15
_RADII = {"few": 2.6, "some": 4.4, "many": 6.6}

_STYLE = """
  .ground { fill: #ffffff } .stripe { fill: #eef1f5 } .own { fill: #c3cbd6 }
  text { fill: #1b2430; font: 12px system-ui, sans-serif } .pure { font-weight: 700 } .small { font-size: 10.5px }
  circle { fill: #14598c }
  @media (prefers-color-scheme: dark) {
    .ground { fill: #11161d } .stripe { fill: #1b232e } .own { fill: #4a5666 }
    text { fill: #e6ebf2 } circle { fill: #79c0ff }
  }
"""


@dataclass(frozen=True, kw_only=True)
class Rooms:
    """The rooms from the top layer down, which of them are pure, and how many imports lead from one to another."""

    names: tuple[str, ...]
    pure: frozenset[str]
    imports: dict[tuple[str, str], int]


@cache
def rooms_of_the_code() -> Rooms:
    """The rooms by the contracts, and the imports by the code."""
    contracts = _contracts()
    (layers,) = [one["layers"] for one in contracts if one["type"] == "layers"]
    (pure,) = [one["source_modules"] for one in contracts if "pure rooms" in one["name"]]
    return Rooms(
        names=tuple(layers),
        pure=frozenset(room.removeprefix(f"{PACKAGE}.") for room in pure),
        imports=dict(_imports()),
    )


def _contracts() -> list[dict[str, Any]]:
    with (ROOT / "pyproject.toml").open("rb") as file:
        contracts: list[dict[str, Any]] = tomllib.load(file)["tool"]["importlinter"]["contracts"]
    return contracts


def _imports() -> Counter[tuple[str, str]]:
    """Pairs of modules of which one imports the other, by room."""
    graph = grimp.build_graph(PACKAGE, exclude_type_checking_imports=True)
    return Counter(
        (_room(one), _room(other))
        for one in graph.modules
        for other in graph.find_modules_directly_imported_by(one)
        if one != PACKAGE != other and _room(one) != _room(other)
    )


def _room(module: str) -> str:
    return module.split(".")[1]


def drawn(rooms: Rooms) -> str:
    """The drawing, as SVG."""
    size = _CELL * len(rooms.names)
    width, height = _LEFT + size + 10, _TOP + size + 62
    shown = f'width="{width * 3 // 2}" height="{height * 3 // 2}" viewBox="0 0 {width} {height}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" {shown} role="img" aria-labelledby="title words">',
            '<title id="title">The rooms of usbwatch and the imports between them</title>',
            f'<desc id="words">{escape(_in_words(rooms))}</desc>',
            f"<style>{_STYLE}</style>",
            f'<rect class="ground" width="{width}" height="{height}"/>',
            *_rows(rooms, size),
            *_marks(rooms),
            *_legend(_TOP + size),
            "</svg>",
            "",
        ]
    )


def _in_words(rooms: Rooms) -> str:
    return " ".join(f"{room} imports {', '.join(_imported(room, rooms)) or 'no other room'}." for room in rooms.names)


def _imported(room: str, rooms: Rooms) -> list[str]:
    return [other for other in rooms.names if (room, other) in rooms.imports]


def _rows(rooms: Rooms, size: int) -> Iterator[str]:
    for number, room in enumerate(rooms.names):
        y, x = _TOP + number * _CELL, _LEFT + number * _CELL
        if number % 2 == 0:
            yield f'<rect class="stripe" x="{_LEFT}" y="{y}" width="{size}" height="{_CELL}"/>'
        yield f'<rect class="own" x="{x}" y="{y}" width="{_CELL}" height="{_CELL}"/>'
        kind = ' class="pure"' if room in rooms.pure else ""
        yield f'<text{kind} x="{_LEFT - 6}" y="{y + 12.5}" text-anchor="end">{room}</text>'
        yield f'<text{kind} transform="translate({x + 12.5} {_TOP - 6}) rotate(-90)">{room}</text>'


def _marks(rooms: Rooms) -> Iterator[str]:
    for row, room in enumerate(rooms.names):
        for column, other in enumerate(rooms.names):
            count = rooms.imports.get((room, other), 0)
            if count:
                x, y = _LEFT + (column + 0.5) * _CELL, _TOP + (row + 0.5) * _CELL
                yield (
                    f'<circle cx="{x}" cy="{y}" r="{_RADII[_amount(count)]}">'
                    f"<title>{room} imports {other}: {_amount(count)}</title></circle>"
                )


def _amount(count: int) -> str:
    """In three steps, so that the drawing changes when the house does, and not with every line."""
    return "few" if count <= _FEW else "some" if count <= _SOME else "many"


def _legend(top: int) -> Iterator[str]:
    said = (
        ("few", f"up to {_FEW} imports", 12),
        ("some", f"up to {_SOME}", 130),
        ("many", "more", 210),
    )
    for amount, words, x in said:
        yield f'<circle cx="{x}" cy="{top + 18}" r="{_RADII[amount]}"/>'
        yield f'<text class="small" x="{x + 12}" y="{top + 22}">{words}</text>'
    yield f'<text class="small" x="6" y="{top + 38}">A mark: the room of the row imports the room of the column.</text>'
    yield (
        f'<text class="small" x="6" y="{top + 53}">'
        '<tspan class="pure">Bold</tspan>: pure, held by a contract. Left of the grey steps nothing may stand.</text>'
    )


if __name__ == "__main__":
    PICTURE.write_text(drawn(rooms_of_the_code()), "utf-8")
