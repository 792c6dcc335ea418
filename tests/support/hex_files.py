"""Test data kept as hex text: ``#`` lines say where it is from, all others are the bytes."""

from __future__ import annotations

from pathlib import Path


def bytes_of(path: Path) -> bytes:
    lines = path.read_text(encoding="utf-8").splitlines()
    return bytes.fromhex("".join(line for line in lines if not line.startswith("#")))


def kernel_parse(path: Path) -> dict[str, dict[str, str]]:
    """What the kernel parsed from the same bytes: lines ``# kernel: WHERE ATTRIBUTE VALUE``, as WHERE to attributes."""
    parsed: dict[str, dict[str, str]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("# kernel: "):
            where, attribute, value = line.removeprefix("# kernel: ").split(" ", 2)
            parsed.setdefault(where, {})[attribute] = value
    return parsed
