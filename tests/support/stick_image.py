"""The bench stick's image for tests, built once in a run and kept in the user's cache folder.

What is kept is under a key of the packages, of the whole of usbwatch and of
what the image is to have, so that a change of any of them builds anew.
"""

from __future__ import annotations

import functools
import hashlib
import os
from pathlib import Path

import pytest
from support.needs import needed_tool

from usbwatch.errors import CannotBuild
from usbwatch.stick.building import Recipe, build_image, cache_folder
from usbwatch.stick.running import TOOLS

__all__ = ["stick_image"]

_PROJECT = Path(__file__).resolve().parents[2]


@functools.cache
def stick_image(*kernel_words: str) -> Path:
    """A stick's image, of this source tree; it must not be written to: copy it.

    ``kernel_words``: further words of the kernel's command line, such as
    ``usbwatch.shell``. Without the tools or the package lists the test fails in
    CI and is skipped elsewhere.
    """
    for tool, package in TOOLS.items():
        if tool not in ("mkfs.vfat", "sgdisk", "depmod"):  # not on every user's PATH; check_host() looks further
            needed_tool(tool, package)
    recipe = Recipe(kernel_words=kernel_words)
    image = cache_folder() / "tests" / f"{_key(recipe)}.img"
    if not image.is_file():
        image.parent.mkdir(parents=True, exist_ok=True)
        for old in image.parent.glob("*.img"):
            if len(list(image.parent.glob("*.img"))) >= _KEPT:
                old.unlink()
        try:
            build_image(image, recipe)
        except CannotBuild as error:
            if os.environ.get("CI"):
                raise
            pytest.skip(str(error))
    return image


_KEPT = 4
"""Images that stay: each has some 170 MB."""


def _key(recipe: Recipe) -> str:
    """Of all that goes in but the packages; those change the kept image only when this changes, too, or in CI."""
    digest = hashlib.sha256(repr(recipe).encode())
    for folder in ("usbwatch", "profiles", "captures"):
        for path in sorted((_PROJECT / folder).rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                digest.update(str(path.relative_to(_PROJECT)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:24]
