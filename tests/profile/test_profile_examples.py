"""Profile files, right and wrong, that the test finds by itself: a new case is a file, not code."""

from __future__ import annotations

from pathlib import Path

import pytest

from usbwatch.errors import BadProfile
from usbwatch.profile import document_schema, load, to_dict

EXAMPLES = Path(__file__).parent.parent / "examples" / "profiles"
WRONG = sorted((EXAMPLES / "wrong").glob("*.toml"))
RIGHT = sorted((EXAMPLES / "right").glob("*.toml"))


def test_the_examples_are_found() -> None:
    assert len(WRONG) >= 20
    assert len(RIGHT) >= 3


@pytest.mark.parametrize("path", WRONG, ids=lambda path: path.stem)
def test_a_wrong_file_is_told_all_its_faults(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(path.parent)
    with pytest.raises(BadProfile) as refused:
        load(path.name)
    assert str(refused.value) + "\n" == path.with_suffix(".expected").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", WRONG, ids=lambda path: path.stem)
def test_a_told_fault_obeys_no_hostile_string(path: Path) -> None:
    with pytest.raises(BadProfile) as refused:
        load(str(path))
    told = [text for fault in refused.value.faults for text in fault]
    assert all(text.isprintable() and len(text) < 500 for text in told)


@pytest.mark.parametrize("path", RIGHT, ids=lambda path: path.stem)
def test_a_right_file_is_read(path: Path) -> None:
    assert load(str(path)).id == path.stem


def test_three_faults_of_three_kinds_are_told_at_once_each_with_its_line() -> None:
    path = EXAMPLES / "wrong" / "three-faults.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    with pytest.raises(BadProfile) as refused:
        load(str(path))
    assert refused.value.path == str(path)
    places = [place for place, _ in refused.value.faults]
    assert len(places) == 3
    numbers = [int(place.removeprefix("line ").partition(",")[0]) for place in places]
    assert [lines[number - 1].strip() for number in numbers] == [
        'function = "keybord"',
        'locaton = "pci0000:00/14.0/usb2/4.1"',
        '"top-case-flx",',
    ]


def test_one_example_uses_every_key_of_the_format() -> None:
    used = to_dict(load(str(EXAMPLES / "right" / "every-key.toml")))
    definitions = document_schema()["$defs"]
    assert isinstance(definitions, dict)
    every = {key for table in definitions.values() for key in table["properties"]} - {"generic"}
    assert _keys(used) >= every


def _keys(value: object) -> set[str]:
    if isinstance(value, list):
        return {key for item in value for key in _keys(item)}
    if isinstance(value, dict):
        return set(value) | {key for item in value.values() for key in _keys(item)}
    return set()
