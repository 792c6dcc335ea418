"""A bench with a casebook: ``bench`` on either store, ``quick_bench`` on SQLite alone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.unit_bench import Bench, laid_out, set_zone

__all__: list[str] = []


def _bench(folder: Path, address: str, capsys: pytest.CaptureFixture[str], patch: pytest.MonkeyPatch) -> Bench:
    (folder / "bench").mkdir()
    laid_out(folder / "bench")
    patch.chdir(folder / "bench")
    patch.setenv("USBWATCH_PROFILES", str(folder / "bench" / "profiles"))
    patch.setenv("USBWATCH_BOOK", address)
    patch.setenv("XDG_DATA_HOME", str(folder / "data"))
    patch.setenv("COLUMNS", "80")
    patch.delenv("USBWATCH_BY", raising=False)
    return Bench(folder=folder / "bench", address=address, capsys=capsys)


@pytest.fixture
def unit_bench(
    tmp_path: Path, address: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Iterator[Bench]:
    """A bench whose casebook is on either store; its clock shows UTC."""
    with set_zone("UTC", monkeypatch):
        yield _bench(tmp_path, address, capsys, monkeypatch)


@pytest.fixture
def quick_bench(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    """The same with a file alone, for what does not depend on the store."""
    with set_zone("UTC", monkeypatch):
        yield _bench(tmp_path, str(tmp_path / "book.sqlite"), capsys, monkeypatch)
