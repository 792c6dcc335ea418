"""The commands of docs/casebook.md, played in their order in a fresh folder; run as a program, it renews their screens.

``PYTHONPATH=tests python -m support.casebook_page``. Both streams are shown as
a terminal shows them. The day on which an entry was written down is the day of
the run; the page shows the story's last day in its place.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from support.make_readme import BLOCK, LEFT_OUT, ROOT, renewed

__all__ = ["PAGE", "Played", "played", "run", "shown"]

PAGE = ROOT / "docs" / "casebook.md"
LAST_DAY = "2026-09-08"
_LISTS = ("usbwatch unit list", "usbwatch unit find")


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One command of the page, run."""

    command: str
    printed: str
    code: int


def shown(page: str) -> list[tuple[str, str]]:
    """Each command of the page's console blocks, with what the page shows for it."""
    return [pair for block in BLOCK.findall(page) for pair in _pairs(block)]


def _pairs(block: str) -> list[tuple[str, str]]:
    pieces = re.split(r"^\$ (.*)\n", block, flags=re.MULTILINE)
    return list(zip(pieces[1::2], pieces[2::2], strict=True))


def played(page: str, folder: Path) -> Iterator[Played]:
    """All commands of the page, one after another, in ``folder`` with the shipped captures in it and no casebook."""
    shutil.copytree(ROOT / "captures", folder / "captures")
    for command, _ in shown(page):
        yield run(command, folder)


def run(command: str, folder: Path) -> Played:
    """One command in ``folder``, with its casebook, on a page of 80 columns, at UTC."""
    own = {key: value for key, value in os.environ.items() if not key.startswith("USBWATCH_")}
    environment = own | {
        "COLUMNS": "80",
        "PYTHONIOENCODING": "utf-8",
        "TZ": "UTC",
        "USBWATCH_BOOK": "casebook.sqlite",
        "XDG_DATA_HOME": str(folder),
    }
    day = f"{datetime.now(UTC):%Y-%m-%d}"
    done = subprocess.run(
        [sys.executable, "-m", *shlex.split(command)],
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        check=False,
    )
    days = {day, f"{datetime.now(UTC):%Y-%m-%d}"} if command.startswith(_LISTS) else set()
    printed = re.sub("|".join(days), LAST_DAY, done.stdout) if days else done.stdout
    return Played(command=command, printed=printed, code=done.returncode)


def _renewed_page(page: str) -> str:
    with tempfile.TemporaryDirectory() as folder:
        runs = iter(list(played(page, Path(folder))))

    def block(match: re.Match[str]) -> str:
        lines: list[str] = []
        for command, was in _pairs(match[1]):
            now = next(runs).printed.splitlines()
            lines += [f"$ {command}", *(renewed(was.splitlines(), now, command) if LEFT_OUT in was else now)]
        return "```console\n" + "\n".join(lines) + "\n```"

    return BLOCK.sub(block, page)


if __name__ == "__main__":
    PAGE.write_text(_renewed_page(PAGE.read_text("utf-8")), "utf-8")
