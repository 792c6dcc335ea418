"""Troubles of the kernel's log beside the findings: which are named, and how often at most."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.hostile import HOSTILE
from support.invented import NO_SUSPECTS, PROFILE, XHCI, capture, finding, findings

from usbwatch.model import Capture, Episode, Loss, Verdict
from usbwatch.show import Checked, capture_view, check_view, plain
from usbwatch.show.troubles_view import trouble_lines

HUB = f"{XHCI}/4"
ELSEWHERE = Episode(location=f"{XHCI}/3", trouble="over-current", count=2, lines=("first line", "last line"))


def shown(*episodes: Episode, losses: tuple[Loss, ...] = (), missing: tuple[str, ...] = ()) -> str:
    found = findings(*(finding(one, Verdict.MISSING) for one in missing), losses=losses)
    checked = Checked(capture=capture(episodes=episodes), profile=PROFILE, findings=found, suspects=NO_SUSPECTS)
    return plain(trouble_lines(checked), 120)


def test_a_trouble_of_no_expected_device_is_named_with_its_place_and_last_line() -> None:
    text = shown(ELSEWHERE)
    assert f"over-current at {XHCI}/3 (2 lines)" in text
    assert "last line" in text
    assert "first line" not in text


def test_it_stands_on_the_page() -> None:
    checked = Checked(
        capture=capture(episodes=(ELSEWHERE,)), profile=PROFILE, findings=findings(), suspects=NO_SUSPECTS
    )
    assert f"over-current at {XHCI}/3" in plain(check_view(checked, 120), 120)


TOLD = {
    "at an expected device": Episode(location=HUB, trouble="enumeration failed", count=3),
    "at a part of one": Episode(location=f"{HUB}.1/if0", trouble="HID failed", count=3),
}


@pytest.mark.parametrize("episode", TOLD.values(), ids=TOLD)
def test_what_the_findings_speak_of_is_not_said_twice(episode: Episode) -> None:
    assert shown(episode, missing=("hub", "keyboard")) == ""


@pytest.mark.parametrize("episode", TOLD.values(), ids=TOLD)
def test_the_trouble_of_a_device_that_is_present_has_no_other_place(episode: Episode) -> None:
    assert episode.trouble in shown(episode)


def test_what_fails_at_a_port_of_an_expected_hub_is_not_the_hubs() -> None:
    beyond = Episode(location=f"{HUB}.7", trouble="enumeration failed", count=1)
    assert f"enumeration failed at {HUB}.7" in shown(beyond, missing=("hub",))


def test_what_is_named_as_lost_is_not_said_twice() -> None:
    lost = Loss(location=ELSEWHERE.location, what="left", inside=True)
    assert shown(ELSEWHERE, losses=(lost,)) == ""


def test_a_trouble_without_a_place_is_named_by_the_kernels_word() -> None:
    assert "controller died at nvme0" in shown(
        replace(ELSEWHERE, location="", trouble="controller died", subject="nvme0")
    )
    assert "at a place the log does not name" in shown(replace(ELSEWHERE, location=""))


def test_many_are_counted() -> None:
    many = [replace(ELSEWHERE, location=f"{XHCI}/{port}") for port in range(100, 108)]
    text = shown(*many)
    assert "and 3 more" in text
    assert text.count("over-current") == 5


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_no_line_of_a_log_can_break_the_page(text: str) -> None:
    page = shown(Episode(location=text, trouble=text, count=1, lines=(text,), subject=text))
    assert all(row.isprintable() for row in page.removesuffix("\n").split("\n"))


# --- After a capture ---------------------------------------------------------------------


def summary(*episodes: Episode) -> str:
    made: Capture = capture(episodes=episodes)
    return " ".join(plain(capture_view(made, "a.json"), 120).split())


def test_a_capture_says_which_troubles_it_met() -> None:
    many = [replace(ELSEWHERE, location=f"{XHCI}/{port}") for port in range(100, 105)]
    assert f"1 trouble in the kernel log: over-current at {XHCI}/3" in summary(ELSEWHERE)
    text = summary(*many)
    assert f"5 troubles in the kernel log: over-current at {XHCI}/100" in text
    assert f"over-current at {XHCI}/102 and 2 more" in text
    assert f"{XHCI}/103" not in text
