"""Loop devices, which stand for files, for tests that write to a real block device."""

from __future__ import annotations

import contextlib
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.needs import needed_tool

__all__ = ["loop", "needs_root", "node"]


def needs_root() -> None:
    """Fail in CI, and skip elsewhere, without the rights that a device needs."""
    if os.geteuid() == 0 and Path("/dev/loop-control").exists():
        return
    reason = "writing to a device needs root and /dev/loop-control"
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


@contextlib.contextmanager
def loop(file: Path, *, read_only: bool = False) -> Iterator[str]:
    """Path of a device that stands for a file."""
    needs_root()
    losetup = needed_tool("losetup", "mount")
    options = ["-r"] if read_only else []
    made = subprocess.run([losetup, *options, "--find", "--show", file], check=True, capture_output=True, text=True)
    device = made.stdout.strip()
    try:
        yield device
    finally:
        subprocess.run([losetup, "-d", device], check=True)


def node(path: Path, major: int, minor: int) -> str:
    """A block device's node in a test's folder; nothing need be behind it."""
    needs_root()
    os.mknod(path, 0o060600, os.makedev(major, minor))
    return str(path)
