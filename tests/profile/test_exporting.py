"""A profile as plain data is the same profile."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest

from usbwatch.model import Money, Part, PartKind, Profile
from usbwatch.profile import load, shipped, to_dict
from usbwatch.profile.building import profile_of
from usbwatch.profile.shape import Document

EXAMPLES = Path(__file__).parent.parent / "examples" / "profiles" / "right"
FILES = [*sorted(shipped("profiles").glob("*.toml")), *sorted(EXAMPLES.glob("*.toml"))]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_written_as_json_and_read_again_it_is_the_same(path: Path) -> None:
    profile = load(str(path))
    again = msgspec.convert(json.loads(json.dumps(to_dict(profile))), Document)
    assert profile_of(again, str(path)) == profile


def test_defaults_are_left_out() -> None:
    assert to_dict(Profile(id="demo", name="Demo", source="Invented.")) == {
        "format": "usbwatch-profile",
        "schema": 1,
        "id": "demo",
        "name": "Demo",
        "source": "Invented.",
    }


def test_a_price_of_nothing_is_not_an_unknown_price() -> None:
    free = Part(id="flex", kind=PartKind.LINK, name="Flex", joins=("a", "b"), cost=0)
    profile = Profile(id="demo", name="Demo", source="Invented.", parts=(free,), money=Money(value_as_is=0))
    data = to_dict(profile)
    assert data["link"] == {"flex": {"name": "Flex", "joins": ["a", "b"], "cost": 0}}
    assert data["money"] == {"value_as_is": 0}
    unknown = to_dict(replace(profile, parts=(replace(free, cost=None),), money=Money()))
    assert unknown["link"] == {"flex": {"name": "Flex", "joins": ["a", "b"]}}
    assert "money" not in unknown
