"""A small image that is a stick's in all but what it starts."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.needs import needed_tool
from support.small_stick import CLOCK, CONTENTS

from usbwatch.stick.image import assembled


@pytest.fixture(scope="session")
def small_image(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An image with the two partitions of a stick; tests copy it before they change it."""
    for tool, package in (("mcopy", "mtools"), ("mkfs.vfat", "dosfstools"), ("sgdisk", "gdisk")):
        needed_tool(tool, package)
    image = tmp_path_factory.mktemp("stick") / "small.img"
    assembled(image, CONTENTS, data_mib=36, clock=CLOCK)
    return image
