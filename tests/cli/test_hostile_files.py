"""Every command that reads a file, given what is none: a documented exit code, one clean sentence, nothing blocks."""

from __future__ import annotations

import gzip
import json
import os
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import chdir
from pathlib import Path

import pytest
from fuzz.books import small_book
from fuzz.commands import COMMANDS
from fuzz.target import clean
from support.bench import lay_out, small_tree
from support.in_process import run_here

_ALSO = (
    ("handcheck", "keyboard", "--add-to", "it", "--timeout", "1"),
    ("watch", "--add-to", "it", "--for", "0.01"),
    ("unit", "capture", "LB-0001", "it"),
)
"""What looks at this machine first, or records of a unit: not for the fuzzer."""


def _socket(path: Path) -> None:
    with chdir(path.parent), socket.socket(socket.AF_UNIX) as one:
        one.bind(path.name)


def _gigabyte(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(1024**3)


_FILES: dict[str, Callable[[Path], object]] = {
    "nothing": lambda path: path.write_bytes(b""),
    "a folder": Path.mkdir,
    "a pipe": os.mkfifo,
    "a socket": _socket,
    "a link to itself": lambda path: path.symlink_to(path.name),
    "a device without an end": lambda path: path.symlink_to("/dev/zero"),
    "a gigabyte of nothing": _gigabyte,
    "noise": lambda path: path.write_bytes(bytes(range(256)) * 64),
    "escapes": lambda path: path.write_bytes(b"\x1b[2J\x9b31m\r\n" * 50),
    "nested without end": lambda path: path.write_bytes(b'{"format":"usbwatch-capture","a":' + b"[" * 200_000),
    "a bomb": lambda path: path.write_bytes(gzip.compress(bytes(48 * 1024**2), 9)),
    "texts that end in the middle": lambda path: path.write_text(json.dumps({"format": "usbwatch-capture"})[:-3]),
}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    small_tree(folder / "tree")
    (folder / "book.sqlite").write_bytes(small_book())
    return lay_out(folder)


@pytest.fixture(autouse=True)
def _nothing_blocks() -> Iterator[None]:
    def too_long(_number: int, _frame: object) -> None:
        raise AssertionError("it blocks")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(120)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize("make", _FILES.values(), ids=_FILES)
def test_what_is_no_file_of_ours_is_told_in_one_sentence(bench: Path, make: Callable[[Path], object]) -> None:
    folder = bench / f"case-{len(list(bench.iterdir()))}"
    folder.mkdir()
    for name in ("tree", "profiles", "whole.json"):
        (folder / name).symlink_to(f"../{name}")
    make(folder / "it")
    for arguments in (*COMMANDS, *_ALSO):
        (folder / "book.sqlite").write_bytes((bench / "book.sqlite").read_bytes())
        told = run_here(folder, arguments, USBWATCH_BOOK="book.sqlite", USBWATCH_PROFILES="profiles")
        assert told.code in (0, 3, 10, 11), (arguments, told)
        clean(told.err)
        clean(told.out)
        assert "Traceback" not in told.err
        if told.code == 3:
            assert told.err.startswith("usbwatch: "), (arguments, told)
            assert len(told.err) < 4000, (arguments, told)
        for path in folder.glob("out.*"):
            path.unlink()
