"""A base that is kept in the cache is whole, or it is not there."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from usbwatch.stick.base import _keep


def result(folder: Path) -> Path:
    folder.mkdir()
    for name in ("facts.json", "initramfs"):
        (folder / name).write_text(name)
    return folder


def test_it_is_put_in_its_place_whole(tmp_path: Path) -> None:
    (tmp_path / "made").mkdir()
    its = result(tmp_path / "result")
    for _ in range(2):  # the second finds the place taken, as by another run
        _keep(its, tmp_path / "made" / "key")
    assert [one.name for one in (tmp_path / "made").iterdir()] == ["key"]
    assert sorted(one.name for one in (tmp_path / "made" / "key").iterdir()) == ["facts.json", "initramfs"]


def test_on_a_full_disk_or_interrupted_nothing_of_it_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "made").mkdir()
    its = result(tmp_path / "result")

    def interrupted(source: Path, target: Path) -> None:
        target.mkdir()
        shutil.copy2(source / "initramfs", target)
        raise KeyboardInterrupt

    monkeypatch.setattr(shutil, "copytree", interrupted)
    with pytest.raises(KeyboardInterrupt):
        _keep(its, tmp_path / "made" / "key")
    assert list((tmp_path / "made").iterdir()) == []
