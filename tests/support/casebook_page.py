"""The commands of docs/casebook.md, played in their order in a fresh folder; run as a program, it renews their screens.

``PYTHONPATH=tests:. python -m support.casebook_page``. They are played as those
of the other pages (``support.pages``), with the casebook in the folder.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from support.make_readme import ROOT
from support.pages import Bench, Played, renewed_page, shown

__all__ = ["PAGE", "Played", "played", "run", "shown"]

PAGE = ROOT / "docs" / "casebook.md"


def played(page: str, folder: Path) -> Iterator[Played]:
    """All commands of the page, one after another, in ``folder`` with the shipped captures in it and no casebook."""
    shutil.copytree(ROOT / "captures", folder / "captures")
    for command, _ in shown(page):
        yield run(command, folder)


def run(command: str, folder: Path) -> Played:
    """One command in ``folder``, with its casebook, on a page of 80 columns, at UTC."""
    return Bench(folder=folder, home=folder, exported={"USBWATCH_BOOK": "casebook.sqlite"}).run(command)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        runs = list(played(PAGE.read_text("utf-8"), Path(scratch)))
    PAGE.write_text(renewed_page("docs/casebook.md", runs), "utf-8")
