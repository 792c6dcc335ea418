"""The user's profiles on a stick, with and without prices, read back by the reader of profiles."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from usbwatch.errors import BadProfile
from usbwatch.profile import parse, shipped
from usbwatch.stick.own_profiles import gathered, without_money

LARCH = shipped("profiles") / "fernhill-larch-13.toml"
SHIPPED = sorted(shipped("profiles").glob("*.toml"))


def keys(value: Any) -> set[str]:  # noqa: ANN401 - any part of a TOML document
    if isinstance(value, dict):
        return set(value).union(*map(keys, value.values()))
    return set().union(*map(keys, value)) if isinstance(value, list) else set()


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_without_prices_it_is_a_sound_profile_of_the_same_unit(path: Path) -> None:
    text = path.read_text("utf-8")
    before, after = parse(text, str(path)), parse(without_money(text), "without")
    assert not after.edited
    assert after.devices == before.devices
    assert after.match == before.match
    assert after.checks == before.checks
    left = tomllib.loads(without_money(text))
    assert not keys(left) & {"cost", "value_working", "value_as_is", "value_parts", "hourly_rate"}


def test_the_larch_has_prices_to_leave_out() -> None:
    text = LARCH.read_text("utf-8")
    assert {"cost", "value_working"} <= keys(tomllib.loads(text))
    assert "120" in text
    priced = text + "\n# bought from a friend for 998877\n"  # more digits than a digest has by chance
    assert "998877" not in without_money(priced)


def test_with_prices_the_text_is_as_the_user_has_it(tmp_path: Path) -> None:
    text = LARCH.read_text("utf-8").replace('id = "fernhill-larch-13"', 'id = "mine"', 1)
    (tmp_path / "any name.toml").write_text(text, "utf-8")
    assert gathered([str(tmp_path / "any name.toml")], money=True) == {"mine.toml": text}


def test_a_later_profile_takes_the_place_of_one_with_its_id(tmp_path: Path) -> None:
    text = LARCH.read_text("utf-8")
    for name, worth in (("first", 310), ("second", 311)):
        (tmp_path / name).write_text(text + f"\n# {worth}\n", "utf-8")
    found = gathered([str(tmp_path / "first"), str(tmp_path / "second")], money=True)
    assert list(found) == ["fernhill-larch-13.toml"]
    assert found["fernhill-larch-13.toml"].endswith("# 311\n")


def test_one_that_is_not_sound_is_told(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("format = 3\n", "utf-8")
    with pytest.raises(BadProfile, match=r"bad\.toml"):
        gathered([str(tmp_path / "bad.toml")], money=False)
