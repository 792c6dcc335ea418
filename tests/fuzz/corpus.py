"""The kept inputs: of each target a small archive of what the fuzzer found, and every input that broke something.

``corpus/NAME.tar.xz`` is written by ``fuzz.run --keep``; its entries have no times and stand in order, so the same
inputs make the same file. ``broken/NAME/`` holds one file for each input that once made a target fail; its name says
how.
"""

from __future__ import annotations

import hashlib
import io
import tarfile
from collections.abc import Iterable
from pathlib import Path

from fuzz.target import Target

__all__ = ["ENDING", "LARGEST", "broken", "inputs", "keep", "kept"]

_FOLDER = Path(__file__).parent / "corpus"
_BROKEN = Path(__file__).parent / "broken"
ENDING = ".tar.xz"
LARGEST = 300 * 1024
"""Bytes of all kept corpora together, as they stand in the repository."""
_MOST_BYTES = 60_000
"""Of one target's inputs together."""


def _path(name: str) -> Path:
    return _FOLDER / f"{name}{ENDING}"


def kept(name: str) -> list[bytes]:
    """The kept corpus of a target; none before one was kept."""
    if not _path(name).is_file():
        return []
    with tarfile.open(_path(name)) as file:
        return [content.read() for one in file if (content := file.extractfile(one))]


def broken(name: str) -> dict[str, bytes]:
    """By what happened, the inputs that once broke a target."""
    folder = _BROKEN / name
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())} if folder.is_dir() else {}


def inputs(target: Target) -> list[bytes]:
    """All that is kept for a target: valid inputs, its corpus, and what broke it; and nothing at all."""
    return [b"", *target.seeds(), *kept(target.name), *broken(target.name).values()]


def keep(target: Target, data: Iterable[bytes]) -> int:
    """Write a target's corpus, the smallest inputs of it up to a limit; the size of its file."""
    content = io.BytesIO()
    total = 0
    with tarfile.open(fileobj=content, mode="w:xz", preset=9) as file:
        for number, one in enumerate(sorted(set(data), key=lambda one: (len(one), one))[: target.kept]):
            total += len(one)
            if total > _MOST_BYTES:
                break
            info = tarfile.TarInfo(f"{number:03d}-{hashlib.sha256(one).hexdigest()[:8]}")
            info.size = len(one)
            file.addfile(info, io.BytesIO(one))
    _FOLDER.mkdir(exist_ok=True)
    _path(target.name).write_bytes(content.getvalue())
    return len(content.getvalue())
