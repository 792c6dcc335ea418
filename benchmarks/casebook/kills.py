"""A writer killed by SIGKILL at random moments, many times over, and what the book has after each.

Run: ``python -m benchmarks.casebook.kills --address PATH-OR-URL [--kills 500] [--longest 0.25]``: one book, a new
writer after each kill. ``--opening OLD-BOOK …``: the program is killed while it brings a copy of an old book up to
date, or makes a new one. ``PYTHONPATH=tests python -m benchmarks.casebook.kills --server [--kills 40]`` kills every
process of a PostgreSQL server of its own instead, under four writers.

SIGKILL ends programs, not the machine: what they have written is then in the hands of the system, which goes on. That
an acknowledged write is also on the disk is shown elsewhere, by the system calls before the acknowledgement
(``tests/casebook/test_on_the_disk.py``).
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from benchmarks.casebook.checking import acknowledged, faults
from benchmarks.casebook.writers import ROOT, started
from usbwatch.casebook import open_book
from usbwatch.casebook.migrations import LATEST

__all__ = ["killed_while_opening", "killed_while_writing", "main", "server_killed"]


def _killed(process: subprocess.Popen[str], after_s: float, log: Path | None = None) -> str:
    """Kill it so many seconds after it said that it is about to open the book, or after the first line of its log.

    What it said besides.
    """
    assert process.stdout is not None
    first = process.stdout.readline()
    while log is not None and process.poll() is None and not (log.exists() and log.stat().st_size):
        time.sleep(0.001)
    time.sleep(after_s)
    process.kill()
    said, wrong = process.communicate()
    if process.returncode != -9:  # noqa: PLR2004 - it must have been the signal
        raise AssertionError(f"the writer ended by itself ({process.returncode}): {wrong}")
    return first + said


def killed_while_writing(address: str, folder: Path, *, kills: int, seed: int, longest_s: float = 0.25) -> list[str]:
    """One writer after another, each killed; after each the book is opened and looked through."""
    draw = random.Random(seed)
    logs: list[Path] = []
    wrong: list[str] = []
    nothing_yet = 0
    for number in range(1, kills + 1):
        logs.append(folder / f"writer-{number}.log")
        early = number % 2 == 0  # while the book is being opened and its log gone through
        process = started(address, logs[-1], 60, seed * 1000 + number)
        _killed(process, draw.uniform(0, longest_s), None if early else logs[-1])
        told = acknowledged(log for log in logs[-1:] if log.exists())
        nothing_yet += not told.entries
        book = open_book(address)
        wrong += [f"after kill {number}: {fault}" for fault in _quickly(book.store.rows, logs, book.store.damage())]
        book.close()
    told = acknowledged(log for log in logs if log.exists())
    book = open_book(address)
    wrong += faults(book, told)
    ((there,),) = book.store.rows("SELECT count(*) FROM entry")
    if not told.entries:
        wrong.append("no writer came to its first acknowledgement")
    print(f"{book.name}: {kills} kills, {nothing_yet} before the first acknowledgement")
    print(f"  {len(told.entries)} entries acknowledged, {there} there, {len(wrong)} faults")
    book.close()
    return wrong


def _quickly(rows: object, logs: Sequence[Path], damage: str) -> list[str]:
    assert callable(rows)
    told = acknowledged(log for log in logs if log.exists())
    there = {bytes(id_).hex() for (id_,) in rows("SELECT id FROM entry")}
    lost = [f"entry {id_} is lost" for id_ in told.entries if id_ not in there]
    return [*lost, *([damage] if damage else [])]


_OPENING = """
import sys
from usbwatch.casebook.opening import open_book
print("ready", flush=True)
open_book(sys.argv[1])
print("opened", flush=True)
input()
"""


def killed_while_opening(stored: Sequence[Path], folder: Path, *, kills: int, seed: int) -> list[str]:
    """Copies of old books, and new ones, killed on their way to the present schema: nothing is lost, and it goes on."""
    draw = random.Random(seed)
    wrong: list[str] = []
    finished = 0
    for number in range(kills):
        path = folder / f"{number}" / "book.sqlite"
        path.parent.mkdir()
        source = draw.choice([None, *stored])
        bodies: set[bytes] = set()
        if source is not None:
            shutil.copy(source, path)
            bodies = _bodies(path)
        for _ in range(2):  # the second one finds what the first one left
            process = subprocess.Popen(
                [sys.executable, "-c", _OPENING, str(path)],
                cwd=ROOT,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
            finished += "opened" in _killed(process, draw.uniform(0, 0.025))
        book = open_book(str(path))
        there = {bytes(body) for (body,) in book.store.rows("SELECT body FROM entry")}
        damage = book.store.damage()
        if there != bodies or damage or book.store.schema() != LATEST:
            wrong.append(f"{path} (from {source}): {len(bodies - there)} entries lost; {damage}")
        book.close()
        shutil.rmtree(path.parent)
    print(f"{kills} books: killed twice each while being opened ({2 * kills - finished} times before it was done)")
    print(f"  {len(wrong)} faults")
    return wrong


def _bodies(path: Path) -> set[bytes]:
    import sqlite3

    connection = sqlite3.connect(path)
    found = {bytes(body) for (body,) in connection.execute("SELECT body FROM entry")}
    connection.close()
    return found


def server_killed(folder: Path, *, kills: int, seed: int, writers: int = 4) -> list[str]:
    """A server of our own, with fsync on: all its processes are killed under the writers, and it is started again."""
    from support.postgres_server import killed_and_started_again, server

    draw = random.Random(seed)
    with server(durable=True) as url:
        logs = [folder / f"writer-{number}.log" for number in range(1, writers + 1)]
        processes = [started(url, log, 3600, number, "--patient") for number, log in enumerate(logs, 1)]
        for _ in range(kills):
            time.sleep(draw.uniform(0.3, 1.5))
            killed_and_started_again(url)
        time.sleep(1)
        for process in processes:
            process.kill()
            process.communicate()
        told = acknowledged(log for log in logs if log.exists())
        book = open_book(url)
        wrong = faults(book, told)
        ((there,),) = book.store.rows("SELECT count(*) FROM entry")
        book.close()
        print(f"PostgreSQL, fsync on: all server processes killed {kills} times under {writers} writers")
        print(f"  {len(told.entries)} entries acknowledged, {there} there, {len(wrong)} faults")
        print(f"  {len(told.errors)} calls ended with a sentence; the first: {told.errors[:1]}")
    return wrong


def main() -> None:
    """Run, and end with 1 for a fault."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--address")
    parser.add_argument("--opening", nargs="+", type=Path)
    parser.add_argument("--server", action="store_true")
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--longest", type=float, default=0.25, help="seconds until a kill")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wrong: list[str] = []
        if asked.address:
            wrong += killed_while_writing(
                asked.address, folder, kills=asked.kills, seed=asked.seed, longest_s=asked.longest
            )
        if asked.opening:
            wrong += killed_while_opening(asked.opening, folder, kills=asked.kills, seed=asked.seed)
        if asked.server:
            wrong += server_killed(folder, kills=asked.kills, seed=asked.seed)
    for line in wrong[:20]:
        print(line)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
