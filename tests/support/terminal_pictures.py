"""The pictures of the terminal's pages in docs/pictures: what the program prints with colours on 80 columns, drawn.

``PYTHONPATH=tests python -m support.terminal_pictures docs/pictures``. It needs
headless Chromium and the font DejaVu Sans Mono. Each picture carries the text
that it was drawn from, so that a test can hold it to what is printed now.
"""

from __future__ import annotations

import html
import itertools
import os
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from rich.color import Color
from rich.style import Style
from rich.text import Text
from support.casebook_page import PAGE, played, run
from support.watch_scenes import MARKS, flexed, watched

from usbwatch.show import coloured
from usbwatch.show.watch_view import frame

__all__ = ["CAPTIONS", "DRAWN_FROM", "LARGEST", "coloured_pages"]

DRAWN_FROM = "Description"
"""The keyword of the picture's text (PNG, third edition, 11.3.3.2) that holds what was drawn."""

LARGEST = 150_000
"""Bytes of one picture."""

_LOST, _AFTER = (f"captures/larch-13-{name}.json" for name in ("top-case-lost", "after-top-case"))
CAPTIONS = {
    "check-fault": f"usbwatch check {_LOST}",
    "localise": f"usbwatch localise {_LOST} {_AFTER} --did swap:top-case",
    "check-returned": "usbwatch check LB-0001",
    "unit-show": "usbwatch unit show LB-0001",
    "watch": "usbwatch watch",
}
"""The command that each picture shows; those of a unit at the end of the first story of docs/casebook.md.

The live page is that of a scripted watch of the demo's unit (``support.watch_scenes``) after 1 min 44 s.
"""

_CAPTURES_ONLY = ("check-fault", "localise")
_STORY_ENDS = "\n## On the bench"

_PALETTE = ("#20242a", "#ff7b72", "#7ee787", "#f2cc60", "#79b8ff", "#d2a8ff", "#76e3ea", "#e6e9ee")
_STAMPS = {"#ff7b72": "#b3261e"}
"""White on a terminal's red is read on a darker one than red letters are."""

_BACK, _FORE = "#20242a", "#e6e9ee"
_COLUMNS, _LINES, _CELL, _ROW, _EDGE = 80, 24, 9, 20, 16
_PAGE = """<!doctype html><meta charset="utf-8"><style>
body {{ margin: 0; background: {back}; color: {fore} }}
pre {{ margin: {edge}px; font: 15px/{row}px "DejaVu Sans Mono"; letter-spacing: -0.03px }}
span {{ display: inline-block; height: {row}px; vertical-align: top; white-space: pre }}
</style><pre>{text}</pre>
"""


def coloured_pages() -> dict[str, str]:
    """By the picture's name, what its command prints with colours, after the command itself at a prompt."""
    story = PAGE.read_text("utf-8").partition(_STORY_ENDS)[0]
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        for name in ("NO_COLOR", "TERM"):
            patch.delenv(name, raising=False)
        patch.setenv("FORCE_COLOR", "1")
        told = {one.command: one.printed for one in played(story, Path(folder))}
        told[CAPTIONS["watch"]] = coloured(frame(watched(flexed(), 104_000, marks=MARKS), _COLUMNS, _LINES), _COLUMNS)
        told |= {CAPTIONS[name]: run(f"{CAPTIONS[name]} --book ''", Path(folder)).printed for name in _CAPTURES_ONLY}
    return {name: f"{_at_a_prompt(command)}\n{told[command]}" for name, command in CAPTIONS.items()}


def _at_a_prompt(command: str) -> str:
    """The command as it is typed on a page of 80 columns."""
    return " \\\n".join(textwrap.wrap(f"$ {command}", _COLUMNS - 2, subsequent_indent="    ", break_on_hyphens=False))


def _drawn(text: str) -> str:
    """The text as HTML; its colours by ``rich``, which reads the terminal's sequences back."""
    rows = [Text.from_ansi(row) for row in text.splitlines()]
    return "\n".join("".join(_span(row, at) for at in _runs(row)) for row in rows)


def _runs(row: Text) -> list[tuple[int, int, Style]]:
    marks = sorted({0, len(row), *(at for span in row.spans for at in (span.start, span.end))})
    return [(start, end, _style(row, start)) for start, end in itertools.pairwise(marks)]


def _style(row: Text, at: int) -> Style:
    its = (Style.parse(str(span.style)) for span in row.spans if span.start <= at < span.end)
    return Style.combine([Style.null(), *its])


def _span(row: Text, run: tuple[int, int, Style]) -> str:
    start, end, style = run
    return f'<span style="{_css(style)}">{html.escape(row.plain[start:end])}</span>'


def _css(style: Style) -> str:
    back = _hue(style.bgcolor)
    pieces = {
        "color": _hue(style.color),
        "background": _STAMPS.get(back, back),
        "font-weight": "bold" if style.bold else "",
        "opacity": "0.72" if style.dim else "",
    }
    return ";".join(f"{name}:{value}" for name, value in pieces.items() if value)


def _hue(color: Color | None) -> str:
    return "" if color is None or color.number is None else _PALETTE[color.number % len(_PALETTE)]


def _photograph(text: str, target: Path) -> None:
    rows = len(text.splitlines())
    size = f"{_COLUMNS * _CELL + 2 * _EDGE + 2},{rows * _ROW + 2 * _EDGE}"
    with tempfile.TemporaryDirectory() as folder:
        page, shot = Path(folder) / "page.html", Path(folder) / "shot.png"
        page.write_text(_PAGE.format(back=_BACK, fore=_FORE, edge=_EDGE, row=_ROW, text=_drawn(text)), "utf-8")
        own = ["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", f"--user-data-dir={folder}/profile"]
        subprocess.run(
            ["chromium", *own, f"--window-size={size}", f"--screenshot={shot}", page.as_uri()],
            check=True,
            capture_output=True,
            timeout=120,
            env={**os.environ, "HOME": folder},
        )
        _keep(Image.open(shot), text, target)


def _keep(shot: Image.Image, text: str, target: Path) -> None:
    """The picture in few colours, with its text and nothing else beside it."""
    note = PngInfo()
    note.add_itxt(DRAWN_FROM, text, zip=True)
    few = shot.convert("RGB").quantize(128, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    few.save(target, optimize=True, pnginfo=note)


if __name__ == "__main__":
    pictures = Path(sys.argv[1])
    pictures.mkdir(exist_ok=True)
    for name, text in coloured_pages().items():
        _photograph(text, pictures / f"{name}.png")
