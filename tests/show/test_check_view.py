"""The page that a check shows: stored pages at fixed widths, and what must hold for every page."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.invented import (
    NO_SUSPECTS,
    PROFILE,
    TOP_CASE_LOST,
    WHOLE,
    capture,
    finding,
    findings,
    node,
    site,
    suspicion,
)

from usbwatch.model import (
    Answer,
    Coverage,
    CoverageState,
    Hypothesis,
    Node,
    Rung,
    Suspects,
    Symptom,
    UnitStrings,
    Verdict,
)
from usbwatch.plan.cautions import BATTERY_FIRST
from usbwatch.show import Checked, check_view, plain
from usbwatch.show.lines import cells

GOLDEN = Path(__file__).parent / "golden"
WHEN = "2026-11-24 15:05 CET"


def page(checked: Checked, width: int = 80) -> str:
    return plain(check_view(checked, width, WHEN), width)


@pytest.mark.parametrize("width", [60, 80, 120, 200])
@pytest.mark.parametrize("name", ["top-case-lost", "whole"])
def test_the_page_is_as_stored(name: str, width: int) -> None:
    checked = {"top-case-lost": TOP_CASE_LOST, "whole": WHOLE}[name]
    assert_golden(GOLDEN, f"check-{name}-{width}.txt", page(checked, width))


def test_the_page_in_ascii_is_as_stored() -> None:
    text = plain(check_view(TOP_CASE_LOST, 80, WHEN), 80, ascii_only=True)
    assert text.isascii()
    assert_golden(GOLDEN, "check-top-case-lost-80-ascii.txt", text)


WORDS = {
    Verdict.PRESENT: "✓ present ",
    Verdict.IMPAIRED: "! IMPAIRED ",
    Verdict.MISSING: "✗ MISSING ",
    Verdict.UNSEEN: "? unseen ",
    Verdict.SUBSTITUTED: "≠ SUBSTITUTED ",
    Verdict.MOVED: "→ MOVED ",
}


@pytest.mark.parametrize("verdict", Verdict, ids=[verdict.value for verdict in Verdict])
def test_each_verdict_has_its_sign_and_its_word_without_colour(verdict: Verdict) -> None:
    checked = replace(WHOLE, findings=findings(finding("bluetooth", verdict)))
    row = next(row for row in page(checked).splitlines() if "Bluetooth" in row)
    assert row.startswith(WORDS[verdict])


def test_what_is_wrong_stands_above_what_is_well() -> None:
    checked = replace(WHOLE, findings=findings(finding("graphics", Verdict.MISSING)))
    text = page(checked)
    assert text.index("MISSING     Graphics") < text.index("Bluetooth")


def test_an_impaired_device_says_how_far_it_got() -> None:
    failed = finding("touchpad", Verdict.IMPAIRED, rung=Rung.ADDRESSED)
    assert "! IMPAIRED    Touchpad (got as far as addressed)" in page(replace(WHOLE, findings=findings(failed)))


def test_what_a_lost_hub_hides_is_one_row_that_names_the_hub() -> None:
    rows = page(TOP_CASE_LOST, 120).splitlines()
    at = next(number for number, row in enumerate(rows) if "Keyboard, Touchpad, Fingerprint reader" in row)
    assert rows[at].startswith("? unseen")
    assert rows[at + 1].strip() == "hidden: Top-case hub is lost"


def test_an_unseen_device_says_what_would_show_it() -> None:
    assert "to see it: capture with the graphics driver loaded" in page(TOP_CASE_LOST)


def test_a_caution_is_given_once_in_each_section_beside_the_first_step_that_needs_it() -> None:
    text = " ".join(page(TOP_CASE_LOST).split())
    suspects, _, steps = text.partition("WHAT TO DO NEXT")
    assert suspects.count(BATTERY_FIRST) == 1
    assert suspects.index("71% Top-case flex") < suspects.index(BATTERY_FIRST) < suspects.index("replace Top case")
    assert suspects.index("backlight") > suspects.index("worn pair")
    assert steps.count(BATTERY_FIRST) == 1
    assert steps.index("1 Open Top-case flex") < steps.index(BATTERY_FIRST) < steps.index("2 Does the caps lock")


def test_a_whole_unit_has_no_suspects_and_nothing_to_do() -> None:
    text = page(replace(WHOLE, suspects=TOP_CASE_LOST.suspects))
    assert "WHERE THE FAULT LIES" not in text
    assert "TO DO NEXT" not in text


def test_nothing_wrong_but_something_unseen_names_no_suspect() -> None:
    text = page(replace(WHOLE, findings=findings(finding("panel", Verdict.UNSEEN))))
    assert "Nothing wrong found, 1 of 19 expected devices unseen" in text
    assert "WHERE THE FAULT LIES" not in text


def test_a_failed_hand_check_is_shown_as_wrong() -> None:
    text = page(replace(WHOLE, findings=findings(answers=(Answer(check="battery-alone", yes=False),))))
    assert "✗ NO          Does it run on battery alone?" in text


def test_two_faults_at_once_are_named_together() -> None:
    sites = (site("a", "flex open", "top-case-flex"), site("b", "pack dead", "battery-pack"))
    both = Hypothesis(sites=sites, probability=0.62, explains=(), leaves=(), against=())
    suspects = Suspects(
        depth=2,
        left_out=0.0,
        hypotheses=(both,),
        parts=(suspicion("top-case-flex", 0.9), suspicion("battery-pack", 0.7)),
        nothing_wrong=0.0,
        unexplained=("camera",),
    )
    text = " ".join(page(replace(WHOLE, findings=findings(finding("hub", Verdict.MISSING)), suspects=suspects)).split())
    assert "the likeliest single account is flex open and pack dead: 62%" in text
    assert "unexplained Camera" in text


def test_software_is_a_suspect_without_a_part_or_a_caution() -> None:
    suspects = replace(NO_SUSPECTS, parts=(suspicion("", 0.8, explains=("camera",)),))
    text = page(replace(WHOLE, findings=findings(finding("camera", Verdict.IMPAIRED)), suspects=suspects))
    assert "Likeliest cause: software, 80%" in text
    assert "80%  Software, no part to replace" in text
    assert BATTERY_FIRST[:30] not in text


def test_a_second_source_alone_is_no_contradiction() -> None:
    other = finding("camera", Verdict.SUBSTITUTED)
    found = replace(WHOLE, findings=findings(other), suspects=NO_SUSPECTS)
    said = "another part than the profile names is fitted (a second source?)"
    assert said in " ".join(page(found).split())
    for more in (finding("hub", Verdict.MISSING), replace(other, symptom=Symptom.UNSEEN)):
        text = " ".join(page(replace(found, findings=findings(other, more))).split())
        assert said not in text
        assert "No part stands out" in text


def test_no_setting_seen_is_no_word_against_a_driver_that_has_hung() -> None:
    suspects = replace(NO_SUSPECTS, parts=(suspicion("", 0.5, explains=("camera",)),))
    lost = finding("camera", Verdict.IMPAIRED)
    checked = replace(WHOLE, findings=findings(lost), suspects=suspects)
    text = " ".join(page(checked).split())
    assert "; no software setting seen that explains it" in text
    assert "software does not explain" not in text
    blocked = replace(checked, findings=findings(replace(lost, software="its driver is blacklisted")))
    assert "; software could explain it: its driver is blacklisted" in " ".join(page(blocked).split())


def test_a_suspect_that_explains_nothing_gets_no_paragraph() -> None:
    suspects = replace(NO_SUSPECTS, parts=(suspicion("battery-pack", 0.05), suspicion("mainboard", 0.04)))
    text = " ".join(
        page(replace(WHOLE, findings=findings(finding("camera", Verdict.MOVED)), suspects=suspects)).split()
    )
    assert "Likeliest cause" not in text
    assert "Nothing that was found points to a part that has failed." in text
    assert "other faults Battery pack 5%, Mainboard 4%" in text


def test_a_link_under_suspicion_is_marked_where_its_subassembly_comes_off() -> None:
    assert "┄┄┄ Top-case flex, to the mainboard (suspect, 71%) ┄" in page(TOP_CASE_LOST)


def test_a_well_subassembly_takes_one_line_unless_it_is_suspected() -> None:
    missing = findings(finding("camera", Verdict.MISSING))
    rows = page(replace(WHOLE, findings=missing)).splitlines()
    assert any(row.startswith("✓ present     BATTERY PACK  Battery gauge") for row in rows)
    suspects = replace(NO_SUSPECTS, parts=(suspicion("battery-pack", 0.5, explains=("camera",)),))
    text = page(replace(WHOLE, findings=missing, suspects=suspects))
    assert "all present; suspect, 50%" in text


def test_open_hand_checks_are_named_while_nothing_is_wrong() -> None:
    answered = findings(answers=(Answer(check="caps-light", yes=True),))
    text = page(replace(WHOLE, findings=answered))
    assert "STILL TO BE ESTABLISHED BY HAND\n" in text
    assert "  Does it run on battery alone? (" in text
    assert "STILL TO BE" not in page(TOP_CASE_LOST)


def test_a_hand_check_that_the_variant_lacks_is_not_asked_for() -> None:
    variant = replace(PROFILE.variants[0], without=("caps-light",))
    checked = replace(WHOLE, profile=replace(PROFILE, variants=(variant,)), findings=findings(variant="no-reader"))
    assert "caps lock" not in page(checked)


def test_a_section_is_mended_by_replacing_what_it_is_part_of() -> None:
    suspects = replace(NO_SUSPECTS, parts=(suspicion("usb-section", 0.8, explains=("bluetooth",)),))
    text = page(replace(WHOLE, findings=findings(finding("bluetooth", Verdict.MISSING)), suspects=suspects))
    assert "replace Mainboard: EUR 260, 75 min" in text


def test_a_cost_that_is_not_known_is_not_invented() -> None:
    suspects = replace(NO_SUSPECTS, parts=(suspicion("battery-plug", 0.8, explains=("battery",)),))
    text = page(replace(WHOLE, findings=findings(finding("battery", Verdict.MISSING)), suspects=suspects))
    assert "reseat or replace: 5 min" in text


def test_a_helper_device_is_set_apart_and_not_judged() -> None:
    rows = page(TOP_CASE_LOST).splitlines()
    at = rows.index("HELPER DEVICES, ATTACHED FROM OUTSIDE, NOT JUDGED")
    assert "Plover bench mouse (1209:0007)" in rows[at + 1]


def test_the_missing_log_is_named_although_it_is_no_bus() -> None:
    coverage = (Coverage(bus="log", state=CoverageState.NOT_THERE, why="no kernel log was to be had"),)
    assert "? log         not there: no kernel log was to be had" in page(
        replace(WHOLE, capture=capture(coverage=coverage))
    )


def test_a_unit_without_a_name_is_called_that() -> None:
    text = page(replace(WHOLE, capture=capture(unit=UnitStrings())))
    assert text.startswith("A unit whose firmware gives no model\n")


def test_a_model_name_that_begins_with_the_maker_names_it_once() -> None:
    unit = UnitStrings(sys_vendor="Fernhill", product_name="FERNHILL Larch 13")
    assert page(replace(WHOLE, capture=capture(unit=unit))).startswith("FERNHILL Larch 13\n")


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_of_a_unit_or_a_profile_can_break_the_page(text: str, width: int) -> None:
    keep = frozenset({"id", "within", "joins", "device", "part", "charged_to", "check", "source", "function"})
    checked = poisoned(TOP_CASE_LOST, text, keep)
    shown = page(checked, width)
    rows = shown.removesuffix("\n").split("\n")
    assert all(row.isprintable() for row in rows)
    assert all(cells(row) <= width for row in rows)
    assert len(shown) < 200_000


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_ids_that_fit_nothing_and_hold_anything_are_still_shown(text: str) -> None:
    lost = Node(bus=text, location=text, kind=node("camera").kind, rung=Rung.WORKING)
    checked = replace(
        poisoned(TOP_CASE_LOST, text),
        profile=PROFILE,
        findings=findings(answers=(Answer(check=text, yes=False),), unplaced=(lost,)),
    )
    assert all(row.isprintable() for row in page(checked).removesuffix("\n").split("\n"))
