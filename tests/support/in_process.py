"""The command, run in this process in a folder of its own, with what it said and how it ended."""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from usbwatch.cli.running import main

__all__ = ["Told", "run_here"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One run."""

    code: int
    out: str
    err: str


class _Stream(io.TextIOWrapper):
    """Standard output or error that is no terminal."""

    def __init__(self) -> None:
        self.raw_bytes = io.BytesIO()
        super().__init__(self.raw_bytes, encoding="utf-8", errors="backslashreplace", write_through=True)

    def told(self) -> str:
        return self.raw_bytes.getvalue().decode()


def run_here(folder: Path, arguments: Sequence[str], **environ: str) -> Told:
    """Run the command in ``folder``, with nothing on standard input and nothing of it on a terminal."""
    out, err, nothing = _Stream(), _Stream(), io.TextIOWrapper(io.BytesIO())
    with (
        contextlib.chdir(folder),
        patch.dict(os.environ, {"COLUMNS": "80", **environ}),
        patch("sys.stdin", nothing),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = main(list(arguments))
    return Told(code=code, out=out.told(), err=err.told())
