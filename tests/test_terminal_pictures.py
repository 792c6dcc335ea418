"""The pictures in docs/pictures are of what the program prints now; they are linked, small, and hold nothing else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image
from support.make_readme import ROOT
from support.terminal_pictures import CAPTIONS, DRAWN_FROM, LARGEST, coloured_pages

PICTURES = ROOT / "docs" / "pictures"
LINK = re.compile(r"!\[[^\]]+\]\(((?:docs/)?pictures/[^)]+)\)")


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    return coloured_pages()


@pytest.mark.parametrize("name", CAPTIONS)
def test_a_picture_is_of_what_is_printed_now(pages: dict[str, str], name: str) -> None:
    with Image.open(PICTURES / f"{name}.png") as picture:
        assert dict(picture.info) == {DRAWN_FROM: pages[name]}, "renew it, see DEVELOPERS.md, and look at it"


@pytest.mark.parametrize("name", CAPTIONS)
def test_a_picture_is_small(name: str) -> None:
    assert (PICTURES / f"{name}.png").stat().st_size < LARGEST


def test_each_picture_is_shown_on_some_page() -> None:
    linked = [
        (page.parent / found).resolve()
        for page in (ROOT / "README.md", *(ROOT / "docs").glob("*.md"))
        for found in LINK.findall(page.read_text("utf-8"))
    ]
    assert {one.relative_to(PICTURES) for one in linked if one.is_relative_to(PICTURES)} >= {
        Path(f"{name}.png") for name in CAPTIONS
    }
