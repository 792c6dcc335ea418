"""The shell script copies all that the readers ask for, also what no tree here has, and nothing that does something."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from fnmatch import fnmatchcase
from pathlib import Path

import pytest
from support.looking import look
from support.system_calls import WITH_SIDE_EFFECTS
from support.units import HERON, PLOVER

from usbwatch.capture.sight import Sight
from usbwatch.capture.tree import ATTRIBUTE_LIMIT
from usbwatch.kit.asked import ASKED, LINKS, Asked

_Tree = Callable[..., Path]


def patterns(asked: Asked) -> list[str]:
    return f"{asked.files} {asked.awake} {asked.named}".split()


@pytest.fixture
def recorded(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every path that the readers ask ``Sight`` for, there or not, as the looks of the test go on."""
    paths: list[str] = []
    blob, texts = Sight.blob, Sight.texts

    def noting_blob(self: Sight, folder: str, name: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        paths.append(f"{folder}/{name}")
        return blob(self, folder, name, limit)

    def noting_texts(self: Sight, folder: str, names: Iterable[str]) -> Iterator[tuple[str, str]]:
        kept = list(names)
        paths.extend(f"{folder}/{name}" for name in kept)
        return texts(self, folder, kept)

    monkeypatch.setattr(Sight, "blob", noting_blob)
    monkeypatch.setattr(Sight, "texts", noting_texts)
    return paths


def test_all_that_the_readers_ask_for_is_copied(
    recorded: list[str], real_tree: _Tree, built_tree: _Tree, full_tree: Path
) -> None:
    buses: set[str] = set()
    for root in (real_tree("external-devices"), built_tree(HERON), built_tree(PLOVER), full_tree):
        recorded.clear()
        look(root)
        asked = {path for path in recorded if path.startswith("sys/devices/") and not through_no_link(root, path)}
        assert len(asked) > 500
        for path in sorted(asked):
            holders = list(devices_of(root, path))
            buses.update(bus for bus, _ in holders[:1])
            assert not holders or any(is_copied(*one) for one in holders), f"{holders[0]} is asked for and not copied"
    assert buses >= {folder for folder in ASKED if patterns(ASKED[folder])} - {"bus/sdio", "class/backlight"}


def through_no_link(root: Path, path: str) -> bool:
    """Whether a path leads through a link that the device does not have: there is nothing to copy then."""
    folder, _, last = path.rpartition("/")[0].rpartition("/")
    return last in LINKS and (root / folder).is_dir() and not (root / folder / last).exists()


def devices_of(root: Path, path: str) -> Iterator[tuple[str, str]]:
    """The bus or class of each device that a path lies in, the nearest first, and the rest of the path below it."""
    folder, _, below = path.rpartition("/")
    while folder.count("/") > 1:
        link = root / folder / "subsystem"
        if link.is_symlink():
            yield "/".join(link.readlink().parts[-2:]), below
        folder, _, name = folder.rpartition("/")
        below = f"{name}/{below}"


def is_copied(bus: str, below: str) -> bool:
    """Whether the script takes a path of a device."""
    return any(fnmatchcase(below, pattern) for pattern in patterns(ASKED.get(bus, Asked(""))))


def test_nothing_is_copied_that_does_something_when_it_is_read() -> None:
    told = [f"/sys/x/{name}" for asked in ASKED.values() for name in patterns(asked)]
    assert len(told) > 150
    assert [path for path in told if WITH_SIDE_EFFECTS.search(path)] == []
    assert not [path for path in told if path.endswith("*")]
