"""The live page, the line of an incident and the summary: stored pages, and what must hold for every one."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.watch_scenes import (
    BEGAN,
    CAMERA,
    FINGERPRINT,
    HELPER,
    HUB,
    KEYBOARD,
    LARCH,
    MARKS,
    SMART_CARD,
    TOUCHPAD,
    back,
    event,
    flexed,
    gone,
    top_case_lost,
    watched,
)

from usbwatch.model import Change, Condition, Mark, Spell, Standing, WatchEvent
from usbwatch.show import coloured, plain, plain_ascii
from usbwatch.show.lines import Line, cells
from usbwatch.show.watch_opening import opening_line
from usbwatch.show.watch_rows import time_line
from usbwatch.show.watch_summary import summary
from usbwatch.show.watch_verdict import big_words
from usbwatch.show.watch_view import frame
from usbwatch.show.watch_words import event_line

GOLDEN = Path(__file__).parent / "golden"
PULLED = tuple(gone(5_000, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD, HUB))

SCENES = {
    "quiet": watched((), 4_000),
    "flexed": watched(flexed(), 104_000, marks=MARKS),
    "falling-back": watched(flexed(), 80_000, marks=MARKS),
    "hub-pulled": watched(PULLED, 9_000, missed=2),
    "lost-before": watched((), 61_000, capture=top_case_lost(), marks=MARKS[:1]),
}
SIZES = ((80, 24), (40, 20), (120, 50))


def text_of(lines: list[Line]) -> str:
    return "".join(f"{one.text.rstrip()}\n" for one in lines)


# --- The live page ------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("scene", SCENES)
def test_the_page_is_as_stored(scene: str, size: tuple[int, int]) -> None:
    assert_golden(GOLDEN, f"watch-{scene}-{size[0]}x{size[1]}.txt", text_of(frame(SCENES[scene], *size)))


def test_the_page_in_ascii_is_as_stored() -> None:
    text = text_of(frame(SCENES["flexed"], 80, 24, ascii_only=True))
    assert text.isascii()
    assert_golden(GOLDEN, "watch-flexed-80x24-ascii.txt", text)


@pytest.mark.parametrize("scene", SCENES)
def test_the_words_are_the_same_with_colours_and_without(scene: str) -> None:
    lines = frame(SCENES[scene], 80, 24)
    bare = re.sub("\x1b\\[[0-9;]*m", "", coloured(lines, 80))
    assert [row.rstrip() for row in bare.splitlines()] == plain(lines, 80).splitlines()


@pytest.mark.properties
@settings(deadline=None)
@given(
    width=st.integers(20, 140),
    height=st.integers(6, 60),
    scene=st.sampled_from(list(SCENES)),
    ascii_only=st.booleans(),
    typing=st.text(max_size=200),
)
def test_any_terminal_gets_a_page_of_exactly_its_size(
    width: int, height: int, scene: str, typing: str, *, ascii_only: bool
) -> None:
    lines = frame(SCENES[scene], width, height, ascii_only=ascii_only, typing=typing)
    assert len(lines) == height
    assert all(cells(one.text) <= width for one in lines)
    assert all(one.text.isprintable() for one in lines)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_name_from_outside_gets_out_of_its_place(text: str, *, ascii_only: bool) -> None:
    bad = poisoned(SCENES["flexed"], text)
    for width, height in SIZES:
        lines = frame(bad, width, height, ascii_only=ascii_only, typing=text)
        assert len(lines) == height
        assert all(one.text.isprintable() and cells(one.text) <= width for one in lines)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_helper_and_a_hostile_mark_stay_on_their_lines(text: str) -> None:
    came = event(1_000, Change.CAME, HELPER, name=text, identity=text)
    shown = watched((came,), 5_000, marks=(Mark(at_ms=2_000, text=text),))
    for one in (*frame(shown, 80, 24), *(event_line(each, LARCH, BEGAN) for each in shown.incidents)):
        assert one.text.isprintable()
    for row in plain(summary(shown, 80, record=text), 80).splitlines():
        assert row.isprintable()
        assert cells(row) <= 80


def test_what_is_typed_stands_in_the_last_row_with_its_end_in_sight() -> None:
    assert frame(SCENES["quiet"], 40, 20, typing="lid at 45")[-1].text == "mark: lid at 45_"
    long = frame(SCENES["quiet"], 40, 20, typing="x" * 80 + "the end")[-1].text
    assert long.startswith("mark: x")
    assert long.endswith("the end_")


def test_nobody_at_the_keys_is_told_of_no_key() -> None:
    assert "Enter" not in text_of(frame(SCENES["quiet"], 80, 24, keys=False))


# --- The verdict across the bench ---------------------------------------------


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ((), "ALL HERE"),
        (gone(1_000, KEYBOARD), "KEYBOARD GONE"),
        (gone(1_000, KEYBOARD, TOUCHPAD), "2 GONE"),
        ([*gone(1_000, KEYBOARD), *back(2_000, 1_000, KEYBOARD)], "ALL HERE - 1X GONE"),
        ([event(1_000, Change.SLOWER, CAMERA)], "CAMERA SLOW"),
        ([event(1_000, Change.FAILED, CAMERA)], "CAMERA FAILED"),
        ([event(1_000, Change.OVER_CURRENT, CAMERA)], "CAMERA OVER-CURRENT"),
        ([event(1_000, Change.UNBOUND, CAMERA)], "CAMERA NO DRIVER"),
        ([event(1_000, Change.SLOWER, CAMERA), *gone(2_000, KEYBOARD)], "KEYBOARD GONE"),
        ([event(1_000, Change.CAME, HELPER), *gone(2_000, HELPER)], "ALL HERE"),
    ],
)
def test_the_big_words(events: list[WatchEvent], words: str) -> None:
    assert big_words(watched(events, 5_000))[0][0] == words


def test_what_was_missing_before_is_not_said_to_have_gone() -> None:
    assert big_words(SCENES["lost-before"])[0] == ("3 MISSING",)


def test_a_unit_of_which_nothing_can_be_seen_is_not_called_whole() -> None:
    blind = tuple(
        Standing(device=one.device, condition=Condition.NOT_WATCHED, why="refused") for one in SCENES["quiet"].standings
    )
    assert big_words(replace(SCENES["quiet"], standings=blind))[0] == ("NOT SEEN",)


def test_all_here_is_said_of_what_is_watched_alone() -> None:
    assert "all 17 that are watched are here, 2 not watched" in text_of(frame(SCENES["quiet"], 80, 24))


def test_a_name_too_long_for_the_letters_is_counted_and_told_below() -> None:
    page = text_of(frame(watched(gone(1_000, FINGERPRINT), 3_000), 80, 24))
    assert "gone: Fingerprint reader" in page
    assert "██████            ██████" not in page


# --- The line of the last minutes ---------------------------------------------


def _line(*spells: tuple[Condition, int, int], room: int = 10) -> str:
    made = tuple(Spell(condition=one, from_ms=start, to_ms=end) for one, start, end in spells)
    return time_line(Standing(device="x", condition=made[-1].condition, spells=made), made[-1].to_ms, room)


def test_the_line_is_blank_before_the_watch_began() -> None:
    assert _line((Condition.PRESENT, 0, 12_000)) == "       ───"


def test_a_moment_away_is_seen_in_its_letter() -> None:
    spells = (
        (Condition.PRESENT, 0, 21_000),
        (Condition.GONE, 21_000, 21_030),
        (Condition.PRESENT, 21_030, 30_100),
        (Condition.SLOW, 30_100, 44_000),
    )
    assert _line(*spells) == " ────✗─~~~"


def test_each_condition_is_told_apart_without_colour_and_in_ascii() -> None:
    signs = {_line((one, 0, 1_000), room=1) for one in Condition}
    assert signs == {"─", "✗", "~", "!", "o", "?"}
    assert len({plain_ascii(one) for one in signs}) == len(signs)


# --- The line of an incident --------------------------------------------------


def _told(events: list[WatchEvent] | tuple[WatchEvent, ...], at: int = 0, **more: object) -> str:
    return event_line(watched(events, 60_000, **more).incidents[at], LARCH, BEGAN).text  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("events", "said"),
    [
        (
            PULLED,
            (
                "Internal hub left (port pci0000:00/14.0/usb2/4) and took Keyboard, Touchpad, Fingerprint reader and "
                "Smart card reader with it; the line they share: USB controller to Internal hub"
            ),
        ),
        (
            gone(5_000, KEYBOARD, TOUCHPAD, FINGERPRINT),
            (
                "Keyboard, Touchpad and Fingerprint reader left together; "
                "all of them need, and nothing that stayed does: "
                "Top-case flex, 3.3 V supply of the top case, Input branch of the top case's board and 2 more"
            ),
        ),
        (gone(5_000, CAMERA), "Camera left; its link: Display cable"),
        (
            gone(5_000, KEYBOARD),
            (
                "Keyboard left; its link: Top-case flex (Touchpad and Fingerprint reader, which need it too, have not "
                "left so far)"
            ),
        ),
        (
            gone(5_000, KEYBOARD, CAMERA),
            (
                "Keyboard and Camera left together; the profile names nothing that all of them need and nothing that "
                "stayed needs"
            ),
        ),
        (back(5_000, 3_240, KEYBOARD), "Keyboard came back after 3.2 s"),
        (
            [event(5_000, Change.SLOWER, CAMERA, was_kbps=480_000, speed_kbps=12_000)],
            "Camera fell back from 480 Mbit/s to 12 Mbit/s; its link: Display cable",
        ),
        (
            [event(5_000, Change.FAILED, CAMERA, errno=-71)],
            "Camera failed to enumerate with error -71; its link: Display cable",
        ),
        (
            [event(5_000, Change.GONE, CAMERA, unseen_ms=100)],
            "Camera left; its link: Display cable; noticed by looking, up to 100 ms late",
        ),
        (
            [event(5_000, Change.CAME, HELPER, name="Plover mouse", identity="1209:0007")],
            "Helper device Plover mouse (1209:0007) came (pci0000:00/14.0/usb2/1)",
        ),
    ],
)
def test_one_line_tells_all_of_an_incident(events: list[WatchEvent], said: str) -> None:
    line = _told(events)
    assert line.startswith("14:05:17  +5.000s  ")
    assert line.endswith(said)


def test_what_was_told_before_its_hub_left_is_told_again_and_says_so() -> None:
    events = [*gone(5_000, KEYBOARD), *gone(6_000, TOUCHPAD, FINGERPRINT, SMART_CARD, HUB)]
    assert _told(events).endswith("; told again, for the hub behind it left, too")


# --- The summary --------------------------------------------------------------


@pytest.mark.parametrize("scene", SCENES)
def test_the_summary_is_as_stored(scene: str) -> None:
    text = plain(summary(SCENES[scene], 80, record="LB-0001.json"), 80)
    assert_golden(GOLDEN, f"watch-summary-{scene}-80.txt", text)


def _summed(events: list[WatchEvent], now_ms: int = 60_000, **more: object) -> str:
    return " ".join(plain(summary(watched(events, now_ms, **more), 80, record="x.json"), 80).split())  # type: ignore[arg-type]


def _thrice(*locations: str) -> list[WatchEvent]:
    return [
        one
        for at_ms in (10_000, 25_000, 40_000)
        for one in (*gone(at_ms, *locations), *back(at_ms + 800, 800, *locations))
    ]


def test_one_that_left_alone_while_others_stayed_on_its_link_does_not_accuse_the_link() -> None:
    text = _summed(_thrice(KEYBOARD))
    assert (
        "Keyboard left alone while Touchpad and Fingerprint reader stayed, which need Top-case flex, too: that link is "
        "less likely, and Keyboard's own plug or branch, or Keyboard itself, likelier."
    ) in text
    assert "a contact that opens and closes is likelier" not in text
    assert "usbwatch check weighs it." in text


def test_the_link_is_suspect_where_nothing_that_stayed_needs_it() -> None:
    assert "nothing that was seen to stay needs Display cable: that link is suspect." in _summed(_thrice(CAMERA))


def test_what_left_within_moments_went_together_and_did_not_stay() -> None:
    """Half a second apart is two incidents live and one moment in the end, as the check has it."""
    events = [*gone(5_000, TOUCHPAD), *gone(5_500, KEYBOARD, FINGERPRINT)]
    text = _summed(events)
    assert "WENT TOGETHER 1 time Keyboard, Touchpad and Fingerprint reader all of them need" in text
    assert "Top-case flex" in text
    assert "WENT ALONE" not in text
    assert "stayed)" not in text


def test_what_left_apart_went_alone() -> None:
    text = _summed([*gone(5_000, TOUCHPAD), *back(6_000, 1_000, TOUCHPAD), *gone(20_000, KEYBOARD)])
    assert "WENT TOGETHER" not in text
    assert "Touchpad; its link: Top-case flex (Keyboard and Fingerprint reader, which need it too, stayed)" in text


def test_what_a_hub_took_along_is_counted_at_the_hub() -> None:
    events = [*_thrice(KEYBOARD)[:4], *gone(40_000, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD, HUB)]
    text = _summed(events)
    assert "Keyboard 2 times gone (2 a minute), and once more with Internal hub, counted there" in text
    assert "Touchpad once with Internal hub, counted there" in text


def test_what_left_beside_a_hub_is_no_device_of_its_line() -> None:
    """The camera hangs on the controller and not on the hub; the keyboard's trip with the hub still counts as one."""
    events = [*gone(10_000, KEYBOARD, HUB), *gone(11_500, CAMERA)]
    text = _summed(events)
    assert "Keyboard once with Internal hub, counted there" in text
    assert "1 time Internal hub, Keyboard and Camera" in text
    assert "the line they share" not in text


def test_a_mark_counts_for_what_went_shortly_before_it_too() -> None:
    events = [*gone(10_000, KEYBOARD), *back(11_000, 1_000, KEYBOARD), *gone(30_000, CAMERA)]
    marks = (Mark(at_ms=13_000, text="hinge"), Mark(at_ms=20_000), Mark(at_ms=26_000, text="lid"))
    text = _summed(events, marks=marks)
    assert "hinge: Keyboard left within 5 s" in text
    assert "2 at 14:05:32 nothing left" in text
    assert "lid: Camera left within 5 s" in text


def test_the_next_line_has_the_profile_that_was_named() -> None:
    named = replace(SCENES["flexed"], asked_profile="my profiles/x.toml")
    page = plain(summary(named, 80, record="x.json"), 80)
    assert "usbwatch check --profile 'my profiles/x.toml' x.json\n" in page


def test_a_watch_of_nothing_earns_no_tick() -> None:
    blind = tuple(
        Standing(device=one.device, condition=Condition.NOT_WATCHED, why="refused") for one in SCENES["quiet"].standings
    )
    page = plain(summary(replace(SCENES["quiet"], standings=blind), 80), 80)
    assert "?  Nothing of the unit could be watched" in page
    assert "✓" not in page
    assert "all 0" not in page


def test_lines_begin_with_what_is_watched_and_by_what() -> None:
    assert opening_line(SCENES["quiet"]).text.endswith(
        "17 expected devices watched, 2 not, by profile fernhill-larch-13; told by kernel log, looks, readings, "
        "uevents; sees absences from 100 ms on"
    )


def test_all_here_again_is_not_forgotten_at_any_width() -> None:
    shown = watched(_thrice(KEYBOARD), 60_000)
    page = text_of(frame(shown, 80, 24))
    assert "had left: Keyboard 3x" in page
    assert big_words(shown)[0] == ("ALL HERE - 3X GONE", "HERE - 3X GONE", "BACK 3X", "ALL HERE")
    assert "gone 3x, longest 0.8s" in " ".join(text_of(frame(shown, 40, 30)).split())
    foot = frame(SCENES["quiet"], 40, 20)[-2].text
    assert foot.startswith("sees absences from 100 ms on")


def test_one_jolt_suggests_nothing() -> None:
    once = watched([*gone(5_000, KEYBOARD), *back(6_000, 1_000, KEYBOARD)], 60_000)
    assert "SUGGESTS" not in plain(summary(once, 80), 80)


def test_without_a_record_no_next_step_is_promised() -> None:
    assert "usbwatch check" not in plain(summary(SCENES["flexed"], 80), 80)


def test_a_quiet_watch_proves_no_contact_good() -> None:
    text = " ".join(plain(summary(SCENES["quiet"], 80), 80).split())
    assert "Nothing changing proves no contact good" in text


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_watch_has_a_harmless_summary(text: str) -> None:
    bad = poisoned(SCENES["flexed"], text)
    for row in plain(summary(bad, 80, record=text), 80).splitlines():
        assert row.isprintable()
        assert cells(row) <= 80
