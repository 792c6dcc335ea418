"""Target: the commands that read files, run in this process with one file in place of a good one.

The exit code is one of the documented; what is refused is said on standard error, what is said is clean, and no bug
shows.
"""

from __future__ import annotations

import contextlib
import functools
import io
import os
from collections.abc import Iterable
from pathlib import Path
from random import Random
from unittest.mock import patch

from fuzz.books import small_book
from fuzz.files import captures_of, in_memory, journals, reports, sealed_anew
from fuzz.structure import in_json, in_lines
from fuzz.target import Broken, Target, clean, nothing_raw
from fuzz.texts import LOGS
from fuzz.trees import archives
from support.archives import GOOD
from support.bench import PROFILE_TOML, lay_out, small_tree

from usbwatch.cli import exits
from usbwatch.cli.running import main

__all__ = ["COMMANDS", "TARGETS", "outcome_of"]

COMMANDS: tuple[tuple[str, ...], ...] = (
    ("check", "it"),
    ("check", "it", "--json"),
    ("check", "whole.json", "it", "--profile", "profiles/plover-small.toml"),
    ("check", "whole.json", "--profile", "./it"),
    ("check", "--root", "it"),
    ("check", "LB-0001", "--book", "it"),
    ("decode", "it"),
    ("diff", "whole.json", "it"),
    ("diff", "it", "whole.json", "--json"),
    ("localise", "it", "whole.json", "--did", "swap:top-case", "--profile", "plover-small"),
    ("localise", "it", "--json"),
    ("report", "it", "--format", "html", "-o", "-"),
    ("report", "it", "--format", "csv", "--identify", "-o", "-"),
    ("report", "--compare", "whole.json", "it", "--format", "json", "-o", "-"),
    ("report", "--verify", "it", "whole.json"),
    ("capture", "--root", "it", "-o", "out.json"),
    ("capture", "--root", "tree", "--log", "it", "-o", "out.json"),
    ("profile", "validate", "it"),
    ("profile", "show", "./it"),
    ("profile", "add", "it"),
    ("profile", "draft", "it"),
    ("profile", "learn", "it", "whole.json"),
    ("watch", "--recover", "it", "-o", "out.json"),
    ("unit", "open", "LB-0002", "it"),
    ("unit", "import", "it"),
    ("unit", "list", "--book", "it"),
    ("unit", "show", "LB-0001", "--book", "it"),
    ("unit", "export", "--all", "-o", "out.zip", "--book", "it"),
    ("unit", "attach", "LB-0001", "it"),
)
_CODES = {exits.WELL, exits.USAGE, exits.BAD_INPUT, exits.WRONG, exits.NOT_ALL_SEEN}


@functools.cache
def _bench() -> Path:
    """A folder with the small unit's profile and captures, which each run begins in."""
    folder = in_memory() / "bench"
    folder.mkdir()
    small_tree(folder / "tree")
    return lay_out(folder)


class _Out(io.TextIOWrapper):
    """Standard output or error that is no terminal."""

    def __init__(self) -> None:
        super().__init__(io.BytesIO(), encoding="utf-8", errors="backslashreplace", write_through=True)

    def told(self) -> str:
        self.flush()
        buffer = self.buffer
        assert isinstance(buffer, io.BytesIO)
        return buffer.getvalue().decode()


_STEERED = {"COLUMNS": "80", "TZ": "UTC", "USBWATCH_BOOK": "book.sqlite", "USBWATCH_PROFILES": "profiles"}


def outcome_of(arguments: Iterable[str], content: bytes) -> tuple[int, str, str]:
    """Exit code, output and errors of a command, begun in a folder in which ``it`` has this content."""
    folder = _bench()
    kept = {"profiles", "tree", "whole.json", "lost.json", "unseen.json", "stranger.json", "broken.json"}
    for path in (*(one for one in folder.iterdir() if one.name not in kept), *folder.glob("profiles/*")):
        path.unlink()
    (folder / "profiles/plover-small.toml").write_text(PROFILE_TOML)
    (folder / "book.sqlite").write_bytes(small_book())
    (folder / "it").write_bytes(content)
    out, err, nothing = _Out(), _Out(), io.TextIOWrapper(io.BytesIO())
    with (
        contextlib.chdir(folder),
        patch.dict(os.environ, _STEERED),
        patch("sys.stdin", nothing),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = main([*arguments])
    return code, out.told(), err.told()


def _run(data: bytes) -> None:
    """The first byte picks the command; a document of JSON is sealed anew, so that a capture is taken for one."""
    arguments = COMMANDS[data[0] % len(COMMANDS)] if data else COMMANDS[0]
    code, out, err = outcome_of(arguments, sealed_anew(data[1:]))
    if code not in _CODES:
        raise Broken(f"{' '.join(arguments)} ends with {code}: {err[:1000]}")
    if code in (exits.USAGE, exits.BAD_INPUT) and not err.strip():
        raise Broken(f"{' '.join(arguments)} ends with {code} without a word")
    if "Traceback" in err:
        raise Broken(f"{' '.join(arguments)}: {err[:1000]}")
    nothing_raw(out) if arguments[0] == "report" else clean(out)
    clean(err)


def _good_for(arguments: tuple[str, ...]) -> Iterable[bytes]:
    """What a command takes."""
    if "--book" in arguments:
        return [small_book()]
    if "--root" in arguments and "--log" not in arguments:
        return archives()
    if "./it" in arguments or (arguments[0] == "profile" and arguments[1] not in ("draft", "learn")):
        return [PROFILE_TOML.encode()]
    if "--recover" in arguments:
        return journals()
    more: dict[str, Iterable[bytes]] = {"--verify": reports(), "import": [GOOD], "--log": LOGS[:2]}
    captures = captures_of("larch-13-watched")[3:4]
    return next((content for word, content in more.items() if word in arguments), captures)


def _seeds() -> Iterable[bytes]:
    for number, arguments in enumerate(COMMANDS):
        yield from (bytes([number]) + content for content in _good_for(arguments))


def _other(data: bytes, chance: Random) -> bytes:
    """Another command, or the same with another document or text."""
    if chance.randrange(6) == 0:
        return bytes([chance.randrange(len(COMMANDS))]) + data[1:]
    change = in_json if data[1:2] == b"{" else in_lines
    return data[:1] + change(data[1:], chance)


TARGETS = (Target(name="commands", kept=15, run=_run, seeds=_seeds, share=10, mutate=_other, largest=40_000),)
