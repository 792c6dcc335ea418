"""The drawing of a unit as it comes apart, as SVG (W3C, SVG 1.1): what is where, its state, and the part in doubt.

Text stands as text in the system's own typefaces. A state is told by its word
and its shape, a suspect by its word, its chance and its outline; colour only
repeats that.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from usbwatch.model import Verdict
from usbwatch.show.report.arranging import Arranged, Box, Tab, arranged
from usbwatch.show.report.colours import DARK, LIGHT, coloured, resource
from usbwatch.show.report.contents import SIGN, SMALL, Piece, badge, tab_lines
from usbwatch.show.report.letters import fitted, text_width
from usbwatch.show.report.signs import SHAPES, TONES
from usbwatch.show.report.value import Report
from usbwatch.show.safe import safe
from usbwatch.show.words import WORDS, percent

__all__ = ["NARROW_WIDTH", "WIDE_WIDTH", "drawing", "picture"]

WIDE_WIDTH, NARROW_WIDTH = 820, 350
_HEADING = 17.0
_TALL = 1.1
"""Of its width: a drawing higher than this gets a printed page of its own."""


def picture(report: Report, width: int = WIDE_WIDTH) -> str:
    """The drawing alone, as an SVG document; below 760 wide its blocks stand in one column."""
    style = resource("picture.css") + resource("signs.css")
    dark = f"@media (prefers-color-scheme: dark) {{\n{coloured(style, DARK)}.ground {{ fill: {DARK['bench']}; }}\n}}"
    sheet = f"{coloured(style, LIGHT)}.ground {{ fill: {LIGHT['bench']}; }}\n{dark}"
    heading = _heading(report, width)
    above = 24.0 * len(heading) + 6
    placed = arranged(report.blocks, width, above)
    inside = [
        f"<style>{sheet}</style>",
        f'<rect class="ground" width="{width}" height="{placed.height:g}"/>',
        *(_text(line, 10, 26 + 24 * number, "heading") for number, line in enumerate(heading)),
        *_drawn(placed, _cause(report)),
    ]
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{_svg(report, placed, "unit", inside, "")}\n'


def drawing(report: Report, width: int, name: str) -> str:
    """The same for a page that has the style sheets; ``name`` makes its ids unique there. "" without blocks."""
    if not report.blocks:
        return ""
    placed = arranged(report.blocks, width)
    tall = " tall" if placed.height > _TALL * placed.width else ""
    return _svg(report, placed, name, list(_drawn(placed, _cause(report))), f" {name}{tall}")


def _heading(report: Report, width: int) -> list[str]:
    label = f"{report.label}  " if report.label else ""
    lines = [f"{label}{report.title}", report.verdict]
    lines += [] if report.blocks else ["No subassembly is known here: there is nothing to draw."]
    room = width - 20
    return [part for line in lines for part in fitted(safe(line), room, _HEADING, lines=3, bold=True)]


def _cause(report: Report) -> str:
    return report.cause.part if report.cause else ""


def _svg(report: Report, placed: Arranged, name: str, inside: list[str], also: str) -> str:
    size = f'width="{placed.width:g}" height="{placed.height:g}"'
    told = f'role="img" aria-labelledby="{name}-title {name}-desc"'
    view = f'viewBox="0 0 {placed.width:g} {placed.height:g}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing{also}" {view} {size} {told}>',
            f'<title id="{name}-title">{_told(report.title)} as it comes apart</title>',
            f'<desc id="{name}-desc">{_described(report)}</desc>',
            *inside,
            "</svg>",
        ]
    )


def _told(text: str) -> str:
    """A string for SVG: ``safe`` leaves nothing that XML 1.0 does not allow, ``escape`` nothing that is markup."""
    return escape(safe(text, 400))


def _described(report: Report) -> str:
    cause = report.cause
    named = f" Likeliest cause: {cause.name}, {percent(cause.probability)}." if cause else ""
    return _told(f"{report.verdict}.{named} {len(report.blocks)} subassemblies; the lists say the same in words.")


def _drawn(placed: Arranged, cause: str) -> Iterator[str]:
    tabs = [tab for box in placed.boxes for tab in box.tabs]
    yield from (_line(tab) for tab in sorted(tabs, key=lambda tab: tab.joint.probability or 0))
    for number, box in enumerate(placed.boxes):
        yield from _box(box, cause, root=number == 0)


def _line(tab: Tab) -> str:
    mark = "" if tab.joint.probability is None else " suspect"
    corners = "L".join(f"{x:g} {y:g}" for x, y in tab.line)
    x, y = tab.line[-1]
    plug = f'<path class="plug{mark}" d="M{x - 4:g} {y - 5:g}h8v10h-8z"/>'
    return f'<path class="line{mark}" d="M{corners}"/>{plug}'


def _box(box: Box, cause: str, *, root: bool) -> Iterator[str]:
    doubt = box.block.probability is not None
    kind = f"box{' root' if root else ''}{' suspect' if doubt else ''}"
    yield "<g>"
    for tab in box.tabs:
        yield from _tab(tab, cause)
    yield _rect(kind, box.x, box.y, box.width, box.height)
    if doubt:
        yield _rect("inset", box.x + 3.5, box.y + 3.5, box.width - 7, box.height - 7)
    likeliest = bool(cause) and box.block.id == cause
    for piece in box.pieces:
        yield from _piece(piece, box, likeliest=likeliest)
    yield "</g>"


def _tab(tab: Tab, cause: str) -> Iterator[str]:
    doubt, likeliest = tab.joint.probability is not None, bool(cause) and tab.joint.id == cause
    yield _rect(
        f"tab{' suspect' if doubt else ''}{' likeliest' if likeliest else ''}", tab.x, tab.y, tab.width, tab.height
    )
    style = f"small{' strong' if doubt else ''}{' on' if likeliest else ' wrong' if doubt else ''}"
    for number, line in enumerate(tab_lines(tab.joint, tab.width + 0.01, likeliest=likeliest)):
        yield _text(line, tab.x + 10, tab.y + 15 + 15 * number, style)


def _piece(piece: Piece, box: Box, *, likeliest: bool) -> Iterator[str]:
    x, y = box.x + piece.x, box.y + piece.y
    match piece.kind:
        case "section":
            mark = "" if piece.chance is None else " suspect"
            yield _rect(f"section{mark}", x, y, piece.width, piece.height)
        case "badge":
            yield from _badge(piece.chance or 0, x, y, likeliest=likeliest and piece.x <= 10)  # noqa: PLR2004 - its own
        case "device" | "below":
            yield from _device(piece, x, y)
        case kind:
            style = {"title": "title", "name": "small", "none": "small faint"}[kind]
            lead = 18 if kind == "title" else 15
            for number, line in enumerate(piece.lines):
                yield _text(line, x, y + 13 + lead * number, style)


def _badge(chance: float, x: float, y: float, *, likeliest: bool) -> Iterator[str]:
    words = badge(chance, likeliest=likeliest)
    yield _rect(f"badge{' likeliest' if likeliest else ''}", x, y, text_width(words, SMALL, bold=True) + 14, 18)
    yield _text(words, x + 7, y + 13, f"small strong {'on' if likeliest else 'wrong'}")


def _device(piece: Piece, x: float, y: float) -> Iterator[str]:
    device = piece.device
    assert device is not None
    tone, wrong = TONES[device.verdict], device.verdict is not Verdict.PRESENT
    yield f'<g class="sign {tone}" transform="translate({x:g} {y + 2:g})">{SHAPES[device.verdict]}</g>'
    for number, line in enumerate(piece.lines):
        yield _text(line, x + SIGN, y + 14 + 17 * number, "strong" if wrong else "")
    style = f"word {tone}{' strong' if wrong else ''}"
    if piece.kind == "below":
        yield _text(WORDS[device.verdict], x + SIGN, y + 14 + 17 * len(piece.lines), style)
    else:
        yield _text(WORDS[device.verdict], x + piece.width, y + 14, style, ' text-anchor="end"')


def _rect(style: str, x: float, y: float, width: float, height: float) -> str:
    return f'<rect class="{style}" x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"/>'


def _text(text: str, x: float, y: float, style: str, more: str = "") -> str:
    named = f' class="{style}"' if style else ""
    return f'<text x="{x:g}" y="{y:g}"{named}{more}>{escape(text)}</text>'
