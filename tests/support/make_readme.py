"""Renews the screens that README.md and docs/localise.md show, from what their commands print now.

Run: ``PYTHONPATH=tests python -m support.make_readme``. Between two ``[…]``
a screen keeps its first and last line, and gets anew what lies between them;
where one of these two is gone, the screen is left as it is and named.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGES = (ROOT / "README.md", ROOT / "docs" / "localise.md")
BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)
LEFT_OUT = "[…]"


def _printed(command: str) -> list[str]:
    words = [sys.executable, "-m", *shlex.split(command)]
    environment = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", "TZ": "UTC"}
    run = subprocess.run(words, capture_output=True, encoding="utf-8", check=False, cwd=ROOT, env=environment)
    return run.stdout.splitlines()


def renewed(shown: list[str], printed: list[str], command: str) -> list[str]:
    """``shown`` with each of its stretches taken from ``printed``."""
    lines: list[str] = []
    after = 0
    for stretch in _stretches(shown):
        if stretch == [LEFT_OUT]:
            lines.append(LEFT_OUT)
            continue
        try:
            first = printed.index(stretch[0], after)
            after = _last_of(printed, stretch, first)
        except ValueError:
            sys.stderr.write(f"{command}: a line that ends a stretch is gone; renew it by hand\n")
            return shown
        lines += printed[first:after]
    return lines


def _last_of(printed: list[str], stretch: list[str], first: int) -> int:
    """One past the stretch's last line that is not blank, and past the blank lines that follow it in the stretch."""
    blank = next(number for number, line in enumerate(reversed(stretch)) if line)
    words = stretch[: len(stretch) - blank]
    return printed.index(words[-1], first + (len(words) > 1)) + 1 + blank


def _stretches(shown: list[str]) -> list[list[str]]:
    stretches: list[list[str]] = [[]]
    for line in shown:
        if line == LEFT_OUT:
            stretches += [[line], []]
        else:
            stretches[-1].append(line)
    return [stretch for stretch in stretches if stretch]


def _block(match: re.Match[str]) -> str:
    pieces = re.split(r"^\$ (.*)\n", match[1], flags=re.MULTILINE)
    lines = []
    for command, shown in zip(pieces[1::2], pieces[2::2], strict=True):
        lines += [f"$ {command}", *renewed(shown.splitlines(), _printed(command), command)]
    return "```console\n" + "\n".join(lines) + "\n```"


if __name__ == "__main__":
    for page in PAGES:
        page.write_text(BLOCK.sub(_block, page.read_text("utf-8")), "utf-8")
