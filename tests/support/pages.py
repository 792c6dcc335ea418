"""Pages of the documentation, played: their console blocks' commands in order, in a fresh folder and a fresh home.

Run as a program it renews the screens of the played pages, which the tests
compare: ``PYTHONPATH=tests python -m support.pages``. ``usbwatch`` runs in
this process, any other command in a shell; both streams are shown as a
terminal shows them. ``[…]`` on a line of its own stands for lines that the
page leaves out, within a line for words. The day on which an entry is written down is the day of the
run; a page shows ``LAST_DAY`` in its place.
"""

from __future__ import annotations

import glob
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from support.make_readme import LEFT_OUT, ROOT, renewed

from usbwatch.cli import main

__all__ = ["BLOCK", "LAST_DAY", "PLAYED", "SERVER", "Bench", "Played", "fits", "played", "renewed_page", "shown"]

PLAYED = ("docs/tutorial.md", *sorted(f"docs/how-to/{path.name}" for path in (ROOT / "docs/how-to").glob("*.md")))
"""The pages whose commands are played from top to bottom."""

BLOCK = re.compile(r"^```console\n(.*?)^```$", re.DOTALL | re.MULTILINE)
LAST_DAY = "2026-09-08"
SERVER = "postgresql://bench@server/casebook"
"""What a page calls its PostgreSQL server; the tests put one of their own in its place."""
_LISTS = ("usbwatch unit list", "usbwatch unit find")
_WITHOUT_CAPTURES = ("docs/tutorial.md",)
"""Pages whose reader has nothing yet; in all others the demo's captures stand in ``captures``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One command of a page, run."""

    command: str
    printed: str
    code: int


@dataclass(slots=True, kw_only=True)
class Bench:
    """A folder to work in, a home, and what was exported so far."""

    folder: Path
    home: Path
    server: str = ""
    """The URL of the server that stands for ``SERVER``."""
    exported: dict[str, str] = field(default_factory=dict)

    def run(self, command: str) -> Played:
        """One line that a reader types."""
        day = f"{datetime.now(UTC):%Y-%m-%d}"
        code, printed = self._ran(command)
        if command.startswith(_LISTS):
            days = "|".join({day, f"{datetime.now(UTC):%Y-%m-%d}"})
            printed = re.sub(days, LAST_DAY, printed)
        if self.server:
            printed = re.sub(r"postgresql://bench@/\S+", SERVER, printed)
        return Played(command=command, printed=printed, code=code)

    def _ran(self, command: str) -> tuple[int, str]:
        words = shlex.split(command)
        if words[0] == "export":
            self.exported |= dict(word.split("=", 1) for word in words[1:])
            return 0, ""
        if words[0] == "cd":
            self.folder = (self.folder / words[1]).resolve(strict=True)
            return 0, ""
        with _surroundings(self.folder, self._environment()):
            return _in_process(words[1:]) if words[0] == "usbwatch" else _in_shell(command)

    def _environment(self) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("USBWATCH_", "XDG_"))}
        set_here = {
            "COLUMNS": "80",
            "HOME": str(self.home),
            "TZ": "UTC",
            "XDG_CACHE_HOME": str(self.home / ".cache"),
            "XDG_DATA_HOME": str(self.home / ".local/share"),
        }
        exported = {name: value.replace(SERVER, self.server or SERVER) for name, value in self.exported.items()}
        return kept | set_here | exported


@contextmanager
def _surroundings(folder: Path, environment: Mapping[str, str]) -> Iterator[None]:
    """The process in another folder and environment, and as it was before."""
    before, place = dict(os.environ), Path.cwd()
    os.environ.clear()
    os.environ.update(environment)
    os.chdir(folder)
    time.tzset()
    try:
        yield
    finally:
        os.chdir(place)
        os.environ.clear()
        os.environ.update(before)
        time.tzset()


def _in_process(words: list[str]) -> tuple[int, str]:
    """What the command ends with, and what it says on both streams."""
    both = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="\n", write_through=True)
    typed = sys.stdin
    sys.stdin = io.StringIO("")
    try:
        with redirect_stdout(both), redirect_stderr(both):
            code = main([found for word in words for found in _expanded(word)])
    finally:
        sys.stdin = typed
    both.seek(0)
    return code, both.read()


def _expanded(word: str) -> list[str]:
    """The files that a word with a star means, as a shell has them; else the word."""
    return (sorted(glob.glob(word)) or [word]) if "*" in word else [word]  # noqa: PTH207 - as it is typed


def _in_shell(command: str) -> tuple[int, str]:
    done = subprocess.run(
        ["/bin/sh", "-c", command],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        check=False,
    )
    return done.returncode, done.stdout


def shown(page: str) -> list[tuple[str, str]]:
    """Each command of a page's console blocks, with what the page shows for it."""
    return [pair for block in BLOCK.findall(page) for pair in _pairs(block)]


def _pairs(block: str) -> list[tuple[str, str]]:
    """Commands and screens of a block; a command that ends in a backslash goes on in the next line."""
    pieces = re.split(r"^\$ ((?:.*\\\n)*.*)\n", block, flags=re.MULTILINE)
    return list(zip(pieces[1::2], pieces[2::2], strict=True))


def played(name: str, scratch: Path, server: str = "") -> list[Played]:
    """All commands of the page ``name``, one after another, on a bench made in ``scratch``."""
    folder, home = scratch / "bench", scratch / "home"
    folder.mkdir()
    home.mkdir()
    if name not in _WITHOUT_CAPTURES:
        shutil.copytree(ROOT / "captures", folder / "captures")
    bench = Bench(folder=folder, home=home, server=server)
    page = (ROOT / name).read_text(encoding="utf-8")
    return [bench.run(command.replace("\\\n", " ")) for command, _ in shown(page)]


def fits(screen: str, printed: str) -> bool:
    """Whether what was printed is the screen, apart from what that leaves out."""
    stretches = re.split(rf"^ *{re.escape(LEFT_OUT)}\n", screen, flags=re.MULTILINE)
    return re.fullmatch("(?:.*\n)*?".join(map(_pattern, stretches)), printed) is not None


def _pattern(text: str) -> str:
    """A stretch of whole lines, in which words may be left out."""
    return ".*".join(re.escape(words) for words in text.split(LEFT_OUT))


def renewed_page(name: str, runs: list[Played]) -> str:
    """The page with its screens as they are printed now."""
    left = iter(runs)

    def block(match: re.Match[str]) -> str:
        lines: list[str] = []
        for command, was in _pairs(match[1]):
            now = next(left).printed
            lines += [f"$ {command}", *(was.splitlines() if fits(was, now) else _renewed_screen(was, now, command))]
        return "```console\n" + "\n".join(lines) + "\n```"

    return BLOCK.sub(block, (ROOT / name).read_text("utf-8"))


def _renewed_screen(was: str, now: str, command: str) -> list[str]:
    return renewed(was.splitlines(), now.splitlines(), command) if LEFT_OUT in was else now.splitlines()


def _renew(name: str) -> None:
    from support.postgres_server import server, tool

    needs_server = SERVER in (ROOT / name).read_text("utf-8")
    with tempfile.TemporaryDirectory() as scratch:
        if needs_server and tool("initdb"):
            with server() as url:
                runs = played(name, Path(scratch), url)
        elif needs_server:
            sys.stderr.write(f"{name}: left as it is, for there is no PostgreSQL here\n")
            return
        else:
            runs = played(name, Path(scratch))
    (ROOT / name).write_text(renewed_page(name, runs), "utf-8")


if __name__ == "__main__":
    for each in sys.argv[1:] or PLAYED:
        _renew(each)
