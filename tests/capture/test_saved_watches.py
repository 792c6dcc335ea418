"""Watches in a capture file: what no watching can have made is refused in one sentence; many events take no age."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from support.blinking import PLACES, blinks, event, watch

from usbwatch.capture import to_json
from usbwatch.capture.document import digest, plain
from usbwatch.capture.saved import load, parse
from usbwatch.compare import changes, findings
from usbwatch.errors import BadCapture
from usbwatch.localise import believe, suspects_of
from usbwatch.model import Change, Look, Watch
from usbwatch.profile import find

FOLDER = Path(__file__).parents[2] / "captures"
HEALTHY = load(str(FOLDER / "larch-13-healthy.json"))
LARCH = find("fernhill-larch-13")


def content(*watches: Any) -> bytes:  # noqa: ANN401 - a watch, or what stands in place of one
    """A capture file with these watches, and a digest that fits it."""
    document = {
        **json.loads(to_json(HEALTHY)),
        "watches": [plain(one) if isinstance(one, Watch) else one for one in watches],
    }
    document.pop("digest")
    document["digest"] = digest(document)
    return json.dumps(document).encode()


def bent(**changed: object) -> dict[str, Any]:
    """The watch of one device as a document, with some of it replaced."""
    document = plain(watch(blinks(PLACES["keyboard"], [(5000, 400)])))
    assert isinstance(document, dict)
    return {**document, **changed}


def bent_event(**changed: object) -> dict[str, Any]:
    document = bent()
    document["events"] = [{**document["events"][0], **changed}]
    return document


def test_a_watch_comes_back_as_it_was() -> None:
    one = watch(blinks(PLACES["keyboard"], [(5000, 400)]))
    slept = replace(one, slept=(2000, 4500))
    assert parse(content(one, slept), "x").watches == (one, slept)


@pytest.mark.parametrize(
    ("odd", "told"),
    [
        (bent(lasted_ms=-1), "a time, speed or count below 0 in watch 1"),
        (bent(limit_ms=-1), "below 0"),
        (bent(missed=-1), "below 0"),
        (bent(lasted_ms=10**12), "more than 31 days"),
        (bent(lasted_ms="long"), "$.watches[0].lasted_ms"),
        (bent(marks=[{"at_ms": -1}]), "below 0"),
        (bent(marks=[{"at_ms": 10**9}]), "an event, mark or suspension after its end"),
        (bent(slept=[-1]), "below 0"),
        (bent(slept=[10**9]), "an event, mark or suspension after its end"),
        (bent(slept=["late"]), "$.watches[0].slept[0]"),
        (bent(marks=[{"at_ms": 1, "text": 7}]), "$.watches[0].marks[0].text"),
        (bent_event(at_ms=-1), "below 0"),
        (bent_event(at_ms=10**9), "an event, mark or suspension after its end"),
        (bent_event(away_ms=-400), "below 0"),
        (bent_event(speed_kbps=-1), "below 0"),
        (bent_event(change="exploded"), "$.watches[0].events[0].change"),
        (bent_event(location="x" * 2000), "a location of more than 1000 characters"),
        (bent(watched=["x" * 2000]), "a location of more than 1000 characters"),
        (7, "$.watches[0]"),
    ],
)
def test_what_no_watching_can_have_made_is_refused_with_one_sentence(odd: object, told: str) -> None:
    with pytest.raises(BadCapture) as caught:
        parse(content(odd), "x.json")
    said = str(caught.value)
    assert told in said
    assert said.startswith("capture x.json: ")
    assert "\n" not in said
    assert len(said) < 600


def test_more_than_anybody_watches_is_refused() -> None:
    keyboard = event(PLACES["keyboard"], Change.RESET, 1000)
    with pytest.raises(BadCapture, match="holds more than 100 watches, or 200000 events"):
        parse(content(watch([keyboard] * 200_000)), "x")
    with pytest.raises(BadCapture, match="places and suspensions in them"):
        parse(content(replace(watch([]), slept=(1,) * 200_001)), "x")
    with pytest.raises(BadCapture, match="holds more than 100 watches"):
        parse(content(*[watch([])] * 101), "x")


def test_a_hundred_thousand_events_everywhere_and_nowhere_are_worked_through() -> None:
    """All devices blink all the time, and as much again happens at places that nobody knows."""
    places = [*PLACES.values(), *(f"pci0000:00/99.0/usb2/{number}" for number in range(10))]
    moments = [(10 * number, 5) for number in range(2_900)]
    events = [each for place in places for each in blinks(place, moments)]
    assert len(events) > 95_000
    capture = parse(content(watch(events)), "x")
    told = findings(capture, LARCH)
    assert changes(HEALTHY, capture).watched == ()
    watched = told.of("internal-hub").watched
    assert watched is not None
    assert (watched.left, watched.anew) == (2_899, 1)  # all left at once: the first time it may be the controller
    assert suspects_of(believe(LARCH, [Look(findings=told)])).parts
