"""Tables fitted to larger devices, held against gdisk's check."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.needs import needed_tool

from usbwatch.stick.gpt import HEAD, TAIL, NotWholeError, fitted, read_table


@pytest.mark.parametrize("more", [0, 1, 7, 2048, 1_000_003])
def test_gdisk_finds_nothing_wrong_with_a_fitted_table(small_image: Path, tmp_path: Path, more: int) -> None:
    content = small_image.read_bytes()
    table = read_table(content[:HEAD])
    sectors = len(content) // 512 + more
    head, tail = fitted(table, sectors)
    larger = tmp_path / "larger.img"
    with larger.open("wb") as file:
        file.truncate(sectors * 512)
        file.write(head)
        file.seek(sectors * 512 - TAIL)
        file.write(tail)
    done = subprocess.run(
        [needed_tool("sgdisk", "gdisk"), "--verify", larger], check=True, capture_output=True, text=True
    )
    assert "No problems found" in done.stdout
    assert "Caution" not in done.stdout + done.stderr


def test_fitted_to_its_own_size_it_is_what_gdisk_wrote(small_image: Path) -> None:
    content = small_image.read_bytes()
    head, tail = fitted(read_table(content[:HEAD]), len(content) // 512)
    assert head[512:] == content[512:HEAD]
    assert tail == content[-TAIL:]


@given(st.data())
def test_a_table_with_any_byte_changed_is_no_whole_one(small_image: Path, data: st.DataObject) -> None:
    with small_image.open("rb") as file:
        head = bytearray(file.read(HEAD))
    # The rest of the header's sector is reserved, and no checksum is of it.
    place = data.draw(st.integers(512, 512 + 91) | st.integers(1024, HEAD - 1))
    head[place] ^= data.draw(st.integers(1, 255))
    with pytest.raises(NotWholeError):
        read_table(bytes(head))


@given(st.binary(max_size=HEAD + 10))
def test_other_bytes_are_no_table(content: bytes) -> None:
    with pytest.raises(NotWholeError):
        read_table(content)
