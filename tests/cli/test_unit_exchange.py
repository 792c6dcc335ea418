"""Units on their way from one casebook to another, and captures on their way to the unit they are of."""

from __future__ import annotations

import json
from pathlib import Path

from support.unit_bench import Bench

_CAPTURES = Path(__file__).parents[2] / "captures"


def test_a_unit_goes_to_another_bench_and_back_with_what_both_have_added(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json", "--at", "2026-03-02 09:00")
    there = str(unit_bench.folder / "there.sqlite")
    assert unit_bench.unit("export", "LB-0001", "-o", "out.zip").code == 0
    assert "is new here" in unit_bench.unit("import", "out.zip", "--book", there).err
    unit_bench.well("note", "LB-0001", "from there", "--book", there)
    unit_bench.well("note", "LB-0001", "from here")
    assert unit_bench.unit("export", "--all", "-o", "back.zip", "--book", there).code == 0
    assert "got 1 entry more" in unit_bench.unit("import", "back.zip").err
    assert "has nothing new" in unit_bench.unit("import", "back.zip").err
    assert {fact.text for fact in unit_bench.facts() if hasattr(fact, "text")} == {"from here", "from there"}


def test_an_archive_that_is_there_is_not_overwritten_unasked(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001")
    (unit_bench.folder / "out.zip").write_text("mine")
    assert "is there already" in unit_bench.refused(3, "export", "LB-0001", "-o", "out.zip")
    assert (unit_bench.folder / "out.zip").read_text() == "mine"
    assert unit_bench.unit("export", "LB-0001", "-o", "out.zip", "--force").code == 0


def test_an_import_of_something_else_is_refused(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001")
    (unit_bench.folder / "text.zip").write_text("no archive")
    assert "is no ZIP file" in unit_bench.refused(3, "import", "text.zip")
    assert "name the units, or give --all" in unit_bench.refused(2, "export", "-o", "x.zip")


def test_a_capture_goes_to_the_unit_in_which_its_serial_number_was_seen(unit_bench: Bench) -> None:
    """In the demo's captures the board has the unit's own serial number, too."""
    unit_bench.well("open", "Z1", str(_CAPTURES / "larch-13-top-case-lost.json"))
    after = str(_CAPTURES / "larch-13-after-top-case.json")
    assert unit_bench.unit("import", after).code == 10
    assert len(unit_bench.facts("Z1")) == 2
    assert "has this capture already" in unit_bench.unit("import", after).err
    assert "is of a unit that is not on the bench (serial number LG-0002-DEMO)" in unit_bench.refused(
        3, "import", str(_CAPTURES / "heron-14-healthy.json")
    )


def test_a_unit_that_comes_in_twice_is_known_by_its_serial_number(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    assert "is that of unit LB-0001 (on the bench)" in unit_bench.refused(3, "open", "LB-0002", "whole.json")
    unit_bench.well("close", "LB-0001", "sold-as-is")
    assert "usbwatch unit reopen LB-0001" in unit_bench.refused(3, "open", "LB-0002", "whole.json")
    unit_bench.well("open", "LB-0002", "whole.json", "--anyway")


def test_another_model_is_never_taken_for_the_unit_whatever_was_put_in(unit_bench: Bench) -> None:
    unit_bench.well("open", "Z1", str(_CAPTURES / "larch-13-top-case-lost.json"))
    unit_bench.well("step", "Z1", "swap:top-case")
    heron = str(_CAPTURES / "heron-14-healthy.json")
    assert "is of another unit than the one before (maker" in unit_bench.refused(3, "capture", "Z1", heron)
    unit_bench.well("step", "Z1", "fit:mainboard")
    assert "is of another unit than the one before (maker" in unit_bench.refused(3, "capture", "Z1", heron)


def test_a_unit_with_a_baseline_is_checked_even_when_another_model_was_recorded_in_it(unit_bench: Bench) -> None:
    unit_bench.well("open", "R", str(_CAPTURES / "larch-13-healthy.json"))
    unit_bench.well("baseline", "R")
    unit_bench.well("capture", "R", str(_CAPTURES / "heron-14-healthy.json"), "--anyway")
    assert "profile is for another model" in unit_bench.run("check", "R").said


def test_a_danger_is_told_where_it_is_recorded_and_not_taken_back_in_the_same_breath(unit_bench: Bench) -> None:
    unit_bench.well("open", "R", str(_CAPTURES / "larch-13-healthy.json"))
    assert "STOP. A swollen" in unit_bench.well("answer", "R", "pack-flat=no").err
    refused = unit_bench.unit("answer", "R", "pack-flat=no", "pack-flat=yes")
    assert (refused.code, "'pack-flat' is answered with both yes and no." in refused.said) == (2, True)
    assert "STOP" not in unit_bench.well("answer", "R", "pack-flat=yes").err


def test_the_page_of_a_unit_that_got_wet_begins_with_what_that_asks_for(unit_bench: Bench) -> None:
    unit_bench.well("open", "R", str(_CAPTURES / "larch-13-healthy.json"), "--liquid", "yes", "--claim", "tea")
    said = unit_bench.run("check", "R").said
    assert (
        said.index("claimed tea") < said.index("! Liquid got into it: before it has power again") < said.index("Whole")
    )


def test_a_no_stands_in_the_next_capture_until_something_is_done(unit_bench: Bench) -> None:
    unit_bench.well("open", "R", str(_CAPTURES / "larch-13-healthy.json"))
    assert "tried twice" not in unit_bench.well("answer", "R", "all-keys-type=no").err
    assert (
        "all-keys-type was answered with no before: that counts as tried twice"
        in unit_bench.well("answer", "R", "all-keys-type=no").err
    )
    unit_bench.well("capture", "R", str(_CAPTURES / "larch-13-repaired.json"), "--anyway")
    shown = unit_bench.run("check", "R")
    assert (shown.code, "1 hand check failed" in shown.out) == (10, True)
    unit_bench.well("step", "R", "fit:top-case")
    unit_bench.well("capture", "R", str(_CAPTURES / "larch-13-repaired.json"), "--anyway")
    assert (
        "was answered with no, and not again since something was done: ask again." in unit_bench.run("check", "R").said
    )


def test_what_a_hand_established_still_stands_after_the_baseline_and_not_when_the_unit_comes_back(
    unit_bench: Bench,
) -> None:
    asked = "Does every key of the unit's own keyboard type"
    unit_bench.well("open", "R", str(_CAPTURES / "larch-13-top-case-lost.json"))
    unit_bench.well("answer", "R", "touchpad-moves=no")
    unit_bench.well("step", "R", "fit:top-case", "--part", "new")
    unit_bench.well("capture", "R", str(_CAPTURES / "larch-13-repaired.json"))
    unit_bench.well("answer", "R", "all-keys-type=yes")
    assert "answered no, and not again since" in unit_bench.unit("baseline", "R").err
    unit_bench.well("answer", "R", "touchpad-moves=yes")
    unit_bench.well("baseline", "R")
    kept = json.loads(unit_bench.run("check", "R", "--json").out)
    assert kept["answers"] == [
        {"check": check, "yes": True, "again": False} for check in ("all-keys-type", "touchpad-moves")
    ]
    unit_bench.well("close", "R", "repaired")
    unit_bench.well("reopen", "R", "--claim", "keyboard dead again")
    unit_bench.well("capture", "R", str(_CAPTURES / "larch-13-repaired.json"))
    assert json.loads(unit_bench.run("check", "R", "--json").out)["answers"] == []
    assert asked in unit_bench.run("check", "R").out


def test_a_unit_that_came_back_and_was_only_asked_about_is_still_known_by_its_name(unit_bench: Bench) -> None:
    unit_bench.well("open", "R", str(_CAPTURES / "larch-13-healthy.json"))
    unit_bench.well("baseline", "R")
    unit_bench.well("close", "R", "repaired")
    unit_bench.well("reopen", "R", "--claim", "screen dark")
    unit_bench.well("answer", "R", "picture-on-panel=no")
    shown = unit_bench.run("check", "R").out
    assert "Fernhill Larch 13" in shown
    assert "calls itself nothing" not in shown


def test_a_label_with_a_slash_is_a_label(unit_bench: Bench) -> None:
    unit_bench.well("open", "2026/17", "lost.json")
    assert unit_bench.run("check", "2026/17").code == 10
    assert "is neither a file nor a unit of the casebook" in unit_bench.run("check", "2026/18").err


def test_a_part_on_trial_does_not_leave_unnoticed(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("step", "LB-0001", "swap:top-case")
    done = unit_bench.well("capture", "LB-0001", "whole.json")
    assert "that is in is the one on trial" in done.out
    assert "that is in is the one on trial" in unit_bench.refused(3, "baseline", "LB-0001")
    unit_bench.well("step", "LB-0001", "fit:top-case", "--part", "new")
    assert "on trial" not in unit_bench.unit("baseline", "LB-0001").err


def test_what_was_done_and_not_looked_at_is_looked_at_first(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("step", "LB-0001", "swap:top-case")
    shown = unit_bench.run("check", "LB-0001").said
    assert "Do next: capture the unit again" in shown
    assert "usbwatch unit capture LB-0001 FILE" in shown


def test_the_model_is_known_from_the_first_capture(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001")
    unit_bench.well("capture", "LB-0001", "lost.json")
    assert unit_bench.told().model == "plover-small"


def test_what_was_claimed_stands_beside_what_is_found(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "whole.json", "--claim", "will not charge", "--claim", " ")
    assert "claimed will not charge" in unit_bench.run("check", "LB-0001").said
    assert unit_bench.told().opened.intake.claims == ("will not charge",)


def test_a_program_gets_every_unit(unit_bench: Bench) -> None:
    import json

    for number in range(205):
        unit_bench.unit("open", f"LB-{number:04}")
    assert len(json.loads(unit_bench.unit("list", "--json").out)["units"]) == 205
    assert "There are more" in unit_bench.unit("list").out
