"""What some tests need from the system, beyond Python packages.

On a developer's machine a test whose tool is not installed is skipped, with
the reason printed. In CI (the variable ``CI`` is set) it fails: a skipped
test there would be a check that nobody made.
"""

from __future__ import annotations

import ctypes.util
import os
import shutil
from pathlib import Path

import pytest

__all__ = ["needed_file", "needed_library", "needed_tool"]


def _lacking(what: str, package: str) -> None:
    source = package if " " in package else f"the distribution's package {package}"
    reason = f"{what} is not here; {source} has it"
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason, allow_module_level=True)


def needed_tool(name: str, package: str) -> str:
    """Path of a program; without it the test fails in CI and is skipped elsewhere."""
    found = shutil.which(name)
    if found is None:
        _lacking(name, package)
    return str(found)


def needed_library(name: str, package: str) -> None:
    """Make sure that a shared library is there; without it the test fails in CI and is skipped elsewhere."""
    if ctypes.util.find_library(name) is None:
        _lacking(f"lib{name}", package)


def needed_file(paths: tuple[str, ...], package: str) -> Path:
    """The first of ``paths`` that exists; without one the test fails in CI and is skipped elsewhere.

    ``package``: one of the distribution, or in words where else it is from.
    """
    for path in paths:
        if Path(path).exists():
            return Path(path)
    _lacking(paths[0], package)
    raise AssertionError(paths)
