"""The kept inputs: of each target a small ZIP file that covers what the fuzzer found, and every input that broke something.

``corpus/NAME.zip`` is written by ``fuzz.run --keep``; its entries have no times and stand in order, so the same inputs
make the same file. ``broken/NAME/`` holds one file for each input that once made a target fail; its name says how.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterable
from pathlib import Path

from fuzz.target import Target

__all__ = ["LARGEST", "broken", "inputs", "keep", "kept"]

_FOLDER = Path(__file__).parent / "corpus"
_BROKEN = Path(__file__).parent / "broken"
LARGEST = 300 * 1024
"""Bytes of all kept corpora together, as they stand in the repository."""


def kept(name: str) -> list[bytes]:
    """The kept corpus of a target; none before one was kept."""
    path = _FOLDER / f"{name}.zip"
    if not path.is_file():
        return []
    with zipfile.ZipFile(path) as file:
        return [file.read(one) for one in file.namelist()]


def broken(name: str) -> dict[str, bytes]:
    """By what happened, the inputs that once broke a target."""
    folder = _BROKEN / name
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())} if folder.is_dir() else {}


def inputs(target: Target) -> list[bytes]:
    """All that is kept for a target: valid inputs, its corpus, and what broke it; and nothing at all."""
    return [b"", *target.seeds(), *kept(target.name), *broken(target.name).values()]


def keep(name: str, data: Iterable[bytes]) -> int:
    """Write a target's corpus; the size of its file."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_LZMA) as file:
        for number, one in enumerate(sorted(set(data), key=lambda one: (len(one), one))):
            info = zipfile.ZipInfo(f"{number:04d}-{hashlib.sha256(one).hexdigest()[:8]}")
            info.compress_type = zipfile.ZIP_LZMA
            file.writestr(info, one)
    _FOLDER.mkdir(exist_ok=True)
    (_FOLDER / f"{name}.zip").write_bytes(content.getvalue())
    return len(content.getvalue())
