"""The colours of page and drawing, light and dark, and style sheets with them put in.

Each text colour is at least 4.5:1 on ``paper`` and ``bench``, each line 3:1 (WCAG 2.2, success criteria 1.4.3 and
1.4.11); the tests compute it. No state is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

__all__ = ["DARK", "LIGHT", "coloured", "resource"]

LIGHT = {
    "bench": "#dfd9cb",
    "paper": "#fdfbf5",
    "shade": "#f2ecdd",
    "ink": "#1c1a16",
    "faint": "#57503f",
    "rule": "#867b62",
    "wrong": "#96230b",
    "fine": "#0e5160",
    "unseen": "#514483",
    "focus": "#0a4fb3",
}
DARK = {
    "bench": "#0f1011",
    "paper": "#1b1c1e",
    "shade": "#27282b",
    "ink": "#efeadd",
    "faint": "#b9b19e",
    "rule": "#8d8571",
    "wrong": "#ff9d80",
    "fine": "#83cfdd",
    "unseen": "#c4b9f5",
    "focus": "#8ec1ff",
}


def coloured(style: str, colours: Mapping[str, str]) -> str:
    """A style sheet with every ``var(--name)`` replaced, for programs that draw SVG and know no variables."""
    for name, colour in colours.items():
        style = style.replace(f"var(--{name})", colour)
    return style


@cache
def resource(name: str) -> str:
    """A template or style sheet that is shipped beside this module."""
    from importlib.resources import files

    return files("usbwatch.show.report").joinpath("templates", name).read_text(encoding="utf-8")
