"""A watch as JSON lines: each by its schema, which a library of its own checks, and nothing but ASCII in any."""

from __future__ import annotations

import json
from datetime import timedelta, timezone
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from support.hostile import HOSTILE, poisoned
from support.make_readme import ROOT
from support.watch_scenes import (
    BEGAN,
    FINGERPRINT,
    HUB,
    KEYBOARD,
    LARCH,
    MARKS,
    SMART_CARD,
    TOUCHPAD,
    flexed,
    gone,
    top_case_lost,
    watched,
)

from usbwatch.show.json_values import Json, json_text
from usbwatch.show.live_page import LivePage
from usbwatch.show.watch_json import (
    begin_object,
    end_object,
    event_object,
    json_line,
    mark_object,
    watch_schema,
)

SCHEMA = ROOT / "docs" / "watch.schema.json"
BY_SCHEMA = Draft202012Validator(watch_schema())
HUB_PULLED = gone(5_000, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD, HUB)
SCENES = {
    "flexed": watched(flexed(), 104_000, marks=MARKS),
    "hub pulled": watched(HUB_PULLED, 9_000, missed=2),
    "lost before": watched((), 61_000, capture=top_case_lost()),
}


def objects(scene: LivePage) -> list[dict[str, Json]]:
    return [
        begin_object(scene),
        *(event_object(one, scene.profile, scene.began) for one in scene.incidents),
        *(mark_object(one, number, scene.began) for number, one in enumerate(scene.marks, start=1)),
        end_object(scene),
    ]


def read(value: dict[str, Json]) -> Any:  # noqa: ANN401 - what JSON gives
    text = json_line(value)
    assert text.isascii()
    assert text.endswith("\n")
    assert text.count("\n") == 1
    assert text.rstrip("\n").isprintable()
    return json.loads(text)


def test_the_schema_in_docs_is_the_one_that_is_made() -> None:
    Draft202012Validator.check_schema(watch_schema())
    assert SCHEMA.read_text("utf-8") == json_text(watch_schema()), "renew it, see DEVELOPERS.md"


@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)
def test_every_line_is_by_the_schema(scene: LivePage) -> None:
    for one in objects(scene):
        BY_SCHEMA.validate(read(one))


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_hostile_lines_are_by_the_schema_too(text: str) -> None:
    bad = poisoned(SCENES["flexed"], text)
    for one in objects(bad):
        BY_SCHEMA.validate(read(one))


@pytest.mark.parametrize("key", ["format", "schema", "type", "change", "events"])
def test_a_line_that_lacks_something_is_not(key: str) -> None:
    whole = read(event_object(SCENES["hub pulled"].incidents[0], LARCH, BEGAN))
    del whole[key]
    assert not BY_SCHEMA.is_valid(whole)


def test_the_hub_and_its_line_can_be_read_from_one_object() -> None:
    one = read(event_object(SCENES["hub pulled"].incidents[0], LARCH, BEGAN))
    assert (one["format"], one["schema"], one["type"]) == ("usbwatch-watch", 1, "incident")
    assert (one["change"], one["at_ms"], one["at"]) == ("gone", 5_000, "2026-11-24T14:05:17.000Z")
    assert (one["head"], one["carrier"]["id"]) == (HUB, "usb-controller")
    assert one["shared"] == [{"id": "internal-hub", "name": "Internal hub", "kind": "device"}]
    assert len(one["devices"]) == len(one["events"]) == 5


def test_times_are_utc_wherever_the_bench_is() -> None:
    elsewhere = BEGAN.astimezone(timezone(timedelta(hours=5, minutes=45)))
    incident = SCENES["hub pulled"].incidents[0]
    assert event_object(incident, LARCH, elsewhere) == event_object(incident, LARCH, BEGAN)


def test_the_end_says_how_each_device_stands_and_what_was_lost() -> None:
    end = read(end_object(SCENES["hub pulled"]))
    assert (end["lasted_ms"], end["missed"]) == (9_000, 2)
    hub = next(one for one in end["devices"] if one["device"] == "internal-hub")
    assert (hub["condition"], hub["times_gone"], hub["longest_ms"]) == ("gone", 1, 3_980)
