"""TOML documents as plain data."""

from __future__ import annotations

import datetime as dt
import json
import math

import pytest

from usbwatch.profile.plain import plain


@pytest.mark.parametrize(
    ("value", "plain_value"),
    [
        ("text", "text"),
        (3, 3),
        (1.5, 1.5),
        (True, True),
        (dt.date(2026, 3, 14), "2026-03-14"),
        (dt.datetime(2026, 3, 14, 9, 30, tzinfo=dt.UTC), "2026-03-14T09:30:00+00:00"),
        (dt.time(9, 30), "09:30:00"),
        (["a", [1]], ["a", [1]]),
        ({"a": {"b": []}}, {"a": {"b": []}}),
        ("", ""),
        ((1 << 53) - 1, (1 << 53) - 1),
    ],
    ids=str,
)
def test_what_json_can_say_stays_and_dates_become_text(value: object, plain_value: object) -> None:
    assert plain({"key": value}) == ({"key": plain_value}, ())


@pytest.mark.parametrize(
    ("value", "problem"),
    [
        (math.nan, "no number to reckon with"),
        (math.inf, "no number to reckon with"),
        (1 << 53, "far out of bounds"),
        (-(10**4000), "far out of bounds"),
        ("tab\there", "cannot be shown"),
        ("\u202e", "cannot be shown"),
        ("  ", "is blank"),
    ],
    ids=["nan", "infinite", "large", "huge", "tab", "turned round", "blank"],
)
def test_what_no_profile_may_hold_is_told_with_its_place(value: object, problem: str) -> None:
    document, (fault,) = plain({"device": {"x": {"needs": ["a", value]}}})
    assert fault.place == ("device", "x", "needs", 1)
    assert problem in fault.problem
    json.dumps(document, allow_nan=False)


def test_a_key_that_cannot_be_shown_is_told() -> None:
    _, (fault,) = plain({"device": {"key\n": {}}})
    assert fault.place == ("device", "key\n")


def test_depth_has_an_end() -> None:
    deep: object = 1
    for _ in range(5000):
        deep = [deep]
    _, (fault,) = plain({"x": deep})
    assert fault.problem == "is nested too deeply for a profile"
    assert len(fault.place) == 8
