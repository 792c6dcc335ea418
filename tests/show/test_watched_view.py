"""What pages say of a live watch: the demo's page as stored, and hostile words in marks and names."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from support.blinking import HUB, PLACES, blinks, watch, watched
from support.golden import assert_golden
from support.hostile import HOSTILE
from support.watch_scenes import FINGERPRINT, KEYBOARD, SMART_CARD, TOUCHPAD, back, gone, watch_of
from support.watch_scenes import watched as page_of

from usbwatch.capture import load
from usbwatch.cli.weighing import weighed
from usbwatch.compare import changes, findings
from usbwatch.model import Capture, Mark, Verdict
from usbwatch.profile import find
from usbwatch.show import (
    Checked,
    Localised,
    Seen,
    check_document,
    check_view,
    diff_view,
    json_text,
    localise_view,
    plain,
)
from usbwatch.show.watch_summary import summary
from usbwatch.show.watched_view import mark_words, watched_in_short

GOLDEN = Path(__file__).parent / "golden"
FOLDER = Path(__file__).parents[2] / "captures"
LARCH = find("fernhill-larch-13")
HEALTHY, WATCHED = (load(str(FOLDER / f"larch-13-{name}.json")) for name in ("healthy", "watched"))
SEVEN = [(20_000 + 30_000 * number, 400) for number in range(7)]


def told(capture: Capture) -> Localised:
    return weighed([Seen(capture=capture, findings=findings(capture, LARCH))], LARCH, insisted=True)[0]


def short(capture: Capture) -> str:
    return watched_in_short(capture, findings(capture, LARCH), LARCH)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_page_is_as_stored(width: int) -> None:
    assert_golden(GOLDEN, f"check-watched-{width}.txt", plain(check_view(told(WATCHED).checked, width), width))


def test_the_page_in_ascii_is_as_stored() -> None:
    page = plain(check_view(told(WATCHED).checked, 80), 80, ascii_only=True)
    assert page.isascii()
    assert_golden(GOLDEN, "check-watched-80-ascii.txt", page)


def test_a_line_of_history_has_what_left_and_how_often() -> None:
    assert short(HEALTHY) == ""
    assert short(watched(HEALTHY, {})) == "watched 4 min: no expected device was seen to leave"
    assert short(watched(HEALTHY, {PLACES["keyboard"]: SEVEN})) == "watched 4 min: Keyboard left 7 times"
    assert short(WATCHED) == (
        "watched 4 min: Keyboard, Touchpad and Fingerprint reader left 6 times; Battery left 2 times"
    )


def test_the_page_of_suspects_says_which_capture_was_watched() -> None:
    page = plain(localise_view(told(WATCHED), 200), 200)
    assert "watched 4 min: Keyboard, Touchpad and Fingerprint reader left 6 times; Battery left 2 times" in page


def test_where_nobody_made_a_mark_nobody_knows_what_was_moved() -> None:
    page = plain(check_view(told(watched(HEALTHY, {})).checked, 200), 200)
    assert "No mark was made: whether anything was moved is not known, and what stayed may not have been tried." in page
    assert "No mark was made" not in plain(check_view(told(WATCHED).checked, 200), 200)


def test_what_the_hub_took_along_is_no_device_that_stayed() -> None:
    page = plain(check_view(told(watched(HEALTHY, {HUB: SEVEN, PLACES["keyboard"]: SEVEN})).checked, 200), 200)
    assert "Watched 4 min: Internal hub left 7 times\n" in page
    stayed = next(line for line in page.splitlines() if "Stayed throughout" in line)
    assert "Keyboard" not in stayed
    assert "Camera" in stayed


def test_what_a_hand_found_dead_is_not_said_to_have_stayed() -> None:
    checked = told(watched(HEALTHY, {})).checked
    assert "Keyboard" in stayed_throughout(checked)
    dead = [
        replace(one, verdict=Verdict.MISSING) if one.device == "keyboard" else one for one in checked.findings.findings
    ]
    stayed = stayed_throughout(replace(checked, findings=replace(checked.findings, findings=tuple(dead))))
    assert "Keyboard" not in stayed
    assert "Camera" in stayed


def stayed_throughout(checked: Checked) -> str:
    page = plain(check_view(checked, 200), 200)
    return next(line for line in page.splitlines() if "Stayed throughout" in line)


def test_a_check_and_a_summary_say_the_same_of_each_mark() -> None:
    """A hub and what it takes along, a mark typed after it, and a lone departure before the next."""
    events = (
        *gone(10_000, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD, HUB),
        *back(12_000, 2_000, HUB, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD),
        *gone(31_000, KEYBOARD),
    )
    marks = (Mark(at_ms=13_500, text="hub"), Mark(at_ms=28_000, text="keys"))
    page = plain(summary(page_of(events, 60_000, marks=marks), 200), 200)
    its = replace(HEALTHY, watches=(replace(watch_of(events, HEALTHY, 60_000), marks=marks),))
    checked = plain(check_view(told(its).checked, 200), 200)
    for words, who in (
        ("hub", "Internal hub, Keyboard, Touchpad, Fingerprint reader and Smart card reader"),
        ("keys", "Keyboard"),
    ):
        (said,) = [row for row in checked.splitlines() if f"“{words}”" in row]
        said = said.partition(": ")[2]
        assert said == f"{who} left within 5 s"
        assert f"{words}: {said}" in page
    assert "Internal hub and Keyboard left once\n" in checked
    assert "And once with Internal hub, counted there: Keyboard, Touchpad, Fingerprint reader and " in checked
    assert "Keyboard  1 time gone, and once more with Internal hub, counted there" in page


def test_a_difference_says_what_left_before_and_stays_now() -> None:
    after = watched(HEALTHY, {})
    found = changes(watched(HEALTHY, {PLACES["keyboard"]: SEVEN}), after)
    assert [(one.location, one.before, one.after) for one in found.watched] == [(PLACES["keyboard"], 7, 0)]
    assert found.none, "what a watch shows is no difference between two looks"
    assert "left 7 times in 4 min → left never in 4 min" in plain(diff_view(found, 120, LARCH), 120)
    assert changes(HEALTHY, after).watched == (), "only what was watched in both can be told"


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_no_mark_and_no_name_is_obeyed(text: str) -> None:
    events = [replace(one, name=text, identity=text) for one in blinks(PLACES["keyboard"], SEVEN)]
    marks = [Mark(at_ms=SEVEN[0][0] - 500, text=text)]
    capture = replace(HEALTHY, watches=(watch(events, marks=marks),))
    its = told(capture)
    diffed = diff_view(changes(capture, watched(HEALTHY, {})), 80, LARCH)
    for lines in (check_view(its.checked, 80), localise_view(its, 80), diffed):
        page = plain(lines, 80)
        assert all(letter.isprintable() or letter == "\n" for letter in page)
        assert max(map(len, page.splitlines())) < 200
    assert len(mark_words(marks[0])) < 400
    document = json_text(check_document(its.checked))
    assert document.isascii()
    assert json.loads(document)["watches"][0]["events"] == 14
