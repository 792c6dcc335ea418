"""What the commands of the casebook record, on either store."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from support.unit_bench import Bench, set_zone

from usbwatch.capture import load, to_json
from usbwatch.model import Step, StepKind
from usbwatch.model.history import (
    Answered,
    Attached,
    Baselined,
    Captured,
    Closed,
    Ending,
    Grade,
    Intake,
    Noted,
    PartUsed,
    Reopened,
    StepDone,
)

_INTAKE = Intake(
    claims=("keyboard dead", "smells"),
    came_with=("adapter", "box"),
    paid=60,
    liquid=True,
    dropped=False,
    opened_before=None,
)
_TOLD = [
    *("--claim", "keyboard dead", "--claim", "smells", "--came-with", "adapter", "--came-with", "box"),
    *("--paid", "60", "--liquid", "yes", "--dropped", "no"),
]


def test_a_unit_comes_in_with_all_that_is_told_and_its_captures(unit_bench: Bench) -> None:
    (unit_bench.folder / "board.jpg").write_bytes(b"an invented photo")
    done = unit_bench.unit(
        *("open", "LB-0001", "lost.json", *_TOLD, "--attach", "board.jpg", "--note", "wet", "--by", "bench 1")
    )
    assert done.code == 10
    assert "Likeliest cause: Top case" in done.out
    told = unit_bench.told()
    assert (told.label, told.model, told.opened.intake) == ("LB-0001", "plover-small", _INTAKE)
    captured, attached, note = unit_bench.facts()
    assert (attached.name, attached.size, note.text) == ("board.jpg", 17, "wet")
    assert isinstance(captured, Captured)
    assert captured.judged.startswith("1 of 2 expected devices is missing; likeliest cause: Top case")
    assert {each.entry.by for each in told.standings} == {"bench 1"}


def test_a_unit_can_come_in_with_nothing_but_its_label(unit_bench: Bench) -> None:
    assert unit_bench.unit("open", "LB-0001").code == 0
    assert (unit_bench.told().model, unit_bench.facts()) == ("", [])
    assert unit_bench.unit("open", "LB-0002", "--model", "plover-small").code == 0
    assert unit_bench.told("LB-0002").model == "plover-small"


def test_captures_stand_in_the_order_of_time_however_they_are_named(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "whole.json", "lost.json")
    taken = [fact.taken_at for fact in unit_bench.facts()]
    assert taken == ["2026-11-24T14:05:00Z", "2026-11-24T15:05:00Z"]


def test_a_capture_ends_with_the_code_of_a_check(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "--model", "plover-small")
    assert [unit_bench.unit("capture", "LB-0001", f"{name}.json").code for name in ("lost", "whole", "unseen")] == [
        *(10, 0, 11)
    ]


def test_a_capture_is_taken_from_standard_input_and_from_a_copied_tree(
    unit_bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    unit_bench.type((unit_bench.folder / "lost.json").read_bytes(), monkeypatch)
    assert unit_bench.unit("open", "LB-0001", "-").code == 10
    assert unit_bench.unit("capture", "LB-0001", "--root", "tree", "--anyway").code == 11
    assert [type(fact) for fact in unit_bench.facts()] == [Captured, Captured]


def test_a_step_is_kept_with_its_part_its_cost_and_what_came_of_it(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well(
        *("step", "LB-0001", "fit:Top case", "--part", "known-good", "--serial", "LG-T001-DEMO"),
        *("--cost", "60", "--minutes", "45", "--result", "keyboard is back"),
    )
    assert unit_bench.facts()[-1] == StepDone(
        step=Step(kind=StepKind.FIT, of="top-case"),
        part=PartUsed(grade=Grade.KNOWN_GOOD, serial="LG-T001-DEMO"),
        cost=60,
        minutes=45,
        result="keyboard is back",
    )
    note = unit_bench.run("check", "LB-0001").said
    not_yet = "Top case fitted new: not captured since. Capture it: usbwatch unit capture LB-0001"
    assert not_yet in note
    unit_bench.well("answer", "LB-0001", "caps-light=yes")
    said = unit_bench.run("check", "LB-0001").said
    assert not_yet in said, "an answer is no capture"
    assert "not captured; answers of" in said
    unit_bench.well("capture", "LB-0001", "whole.json")
    assert not_yet not in unit_bench.run("check", "LB-0001").said


def test_the_first_part_can_be_put_back_after_another_one_was_put_in(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("step", "LB-0001", "swap:top-case")
    unit_bench.well("step", "LB-0001", "back:top-case")
    assert [fact.step.kind for fact in unit_bench.facts()[1:]] == [StepKind.SWAP, StepKind.BACK]


def test_a_history_weighs_as_much_as_the_same_captures_steps_and_answers_given_by_hand(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("answer", "LB-0001", "measure:flex=yes", "caps-light=NO")
    unit_bench.well("step", "LB-0001", "reseat:flex")
    unit_bench.well("capture", "LB-0001", "whole.json")
    assert unit_bench.facts()[1:3] == [
        Answered(check="measure:flex", yes=True),
        Answered(check="caps-light", yes=False),
    ]
    by_hand = ["--answer", "1:measure:flex=yes", "--answer", "1:caps-light=no", "--did", "reseat:flex"]
    given = json.loads(unit_bench.run("localise", "lost.json", "whole.json", *by_hand, "--json").out)
    recorded = json.loads(unit_bench.run("localise", "LB-0001", "--json").out)
    assert [recorded[name] for name in ("findings", "suspects", "plan")] == [
        given[name] for name in ("findings", "suspects", "plan")
    ]
    checked = json.loads(unit_bench.run("check", "LB-0001", "--json").out)
    assert checked["suspects"] == given["suspects"]


def test_a_note_and_files_are_kept_and_come_out_as_they_went_in(unit_bench: Bench) -> None:
    photo = bytes(range(256)) * 40
    (unit_bench.folder / "board.jpg").write_bytes(photo)
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("note", "LB-0001", "smells", "of", "coffee", "--cost", "5", "--minutes", "10")
    unit_bench.well("attach", "LB-0001", "board.jpg", "lost.json")
    assert unit_bench.facts()[1] == Noted(text="smells of coffee", cost=5, minutes=10)
    unit_bench.well("get", "LB-0001", "4", "--output", "again.jpg")
    unit_bench.well("get", "LB-0001", "2", "--output", "first.json")
    assert (unit_bench.folder / "again.jpg").read_bytes() == photo
    kept = json.loads((unit_bench.folder / "first.json").read_text("utf-8"))
    assert kept == json.loads((unit_bench.folder / "lost.json").read_text("utf-8"))
    assert unit_bench.run("check", "first.json").code == 10


def test_a_file_whose_name_says_strange_things_is_kept_and_shown_safely(unit_bench: Bench) -> None:
    names = [b"\x1b[2J.jpg", b"\xff\xfe.jpg", "\u202egpj.exe".encode(), b"-x.jpg"]
    for name in names:
        (unit_bench.folder / os.fsdecode(name)).write_bytes(name)
    unit_bench.well("open", "LB-0001")
    unit_bench.well("attach", "LB-0001", "--", *(os.fsdecode(name) for name in names))
    assert all(isinstance(fact, Attached) for fact in unit_bench.facts())
    shown = unit_bench.unit("show", "LB-0001").out
    assert all(row.isprintable() for row in shown.splitlines())
    unit_bench.well("get", "LB-0001", "3", "-o", "out.jpg")
    assert (unit_bench.folder / "out.jpg").read_bytes() == names[1]


_OPENED = ("open", "LB-0001", "lost.json", "--claim", "keyboard dead")
_AMENDED: dict[str, tuple[list[str], list[str], str, Any]] = {
    "label": ([], ["label=LB-0009"], "opened.label", "LB-0009"),
    "model": ([], ["model=generic-clamshell"], "opened.model", "generic-clamshell"),
    "claims": ([], ["claims=keyboard dead; lid squeaks"], "opened.intake.claims", ("keyboard dead", "lid squeaks")),
    "came with": ([], ["came-with=adapter;box"], "opened.intake.came_with", ("adapter", "box")),
    "paid": ([], ["paid=70"], "opened.intake.paid", 70),
    "nothing paid": ([], ["paid="], "opened.intake.paid", None),
    "liquid": ([], ["liquid=yes"], "opened.intake.liquid", True),
    "liquid, not told": ([], ["liquid="], "opened.intake.liquid", None),
    "dropped": ([], ["dropped=no"], "opened.intake.dropped", False),
    "opened before": ([], ["opened-before=yes"], "opened.intake.opened_before", True),
    "step": (["step", "swap:top-case"], ["step=reseat:flex"], "fact.step", Step(kind=StepKind.RESEAT, of="flex")),
    "part": (["step", "swap:top-case"], ["part=used"], "fact.part.grade", Grade.USED),
    "no part": (["step", "swap:top-case", "--part", "new"], ["part="], "fact.part.grade", None),
    "serial": (["step", "swap:top-case"], ["serial=LG-T002-DEMO"], "fact.part.serial", "LG-T002-DEMO"),
    "cost": (["step", "swap:top-case", "--cost", "120"], ["cost=140"], "fact.cost", 140),
    "minutes": (["step", "swap:top-case"], ["minutes=15"], "fact.minutes", 15),
    "result": (["step", "swap:top-case"], ["result=a=b"], "fact.result", "a=b"),
    "answer": (["answer", "caps-light=no"], ["yes=yes"], "fact.yes", True),
    "note": (["note", "wett"], ["text=wet", "minutes=3"], "fact.text", "wet"),
    "cost of a note": (["note", "wet"], ["cost=3"], "fact.cost", 3),
    "ending": (["close", "repaired"], ["ending=sold-as-is"], "fact.ending", Ending.SOLD_AS_IS),
    "brought": (["close", "repaired"], ["brought=90"], "fact.brought", 90),
    "remark": (["close", "repaired"], ["remark=sold to a friend"], "fact.remark", "sold to a friend"),
    "cause": (
        ["close", "repaired"],
        ["cause=dead:keyboard; open:flex"],
        "fact.causes",
        ("dead:keyboard", "open:flex"),
    ),
    "causes": (["close", "repaired"], ["cause=nothing"], "fact.cause_known", True),
}


@pytest.mark.parametrize(("before", "said", "where", "stands"), _AMENDED.values(), ids=_AMENDED.keys())
def test_what_an_entry_says_can_be_set_right(
    quick_bench: Bench, before: list[str], said: list[str], where: str, stands: object
) -> None:
    quick_bench.well(*_OPENED)
    number = "1"
    if before:
        quick_bench.well(before[0], "LB-0001", *before[1:])
        number = "3"
    first = quick_bench.told().standings[int(number) - 1].entry
    changes = [word for one in said for word in ("--set", one)]
    quick_bench.well("amend", "LB-0001", number, *changes, "--reason", "was wrong")
    label = "LB-0009" if where == "opened.label" else "LB-0001"
    told = quick_bench.told(label)
    found: Any = told if where.startswith("opened") else told.standings[2]
    for name in where.split("."):
        found = getattr(found, name)
    assert (tuple(one.site for one in found) if where == "fact.causes" else found) == stands
    assert told.standings[int(number) - 1].entry == first, "the entry itself stays"
    assert "amended by entry" in quick_bench.unit("show", label).said


def test_an_entry_can_be_withdrawn_and_set_right_again(unit_bench: Bench) -> None:
    unit_bench.well(*_OPENED)
    unit_bench.well("step", "LB-0001", "reseat:flex")
    unit_bench.well("amend", "LB-0001", "3", "--withdraw", "--reason", "another unit")
    assert unit_bench.facts()[1] is None
    assert "WITHDRAWN, was: Flex opened" in unit_bench.unit("show", "LB-0001").said
    unit_bench.well("amend", "LB-0001", "3", "--set", "minutes=5", "--reason", "was this one after all")
    assert unit_bench.facts()[1].minutes == 5


def test_a_closing_that_was_withdrawn_leaves_the_unit_on_the_bench(unit_bench: Bench) -> None:
    unit_bench.well(*_OPENED)
    unit_bench.well("close", "LB-0001", "returned")
    unit_bench.well("amend", "LB-0001", "3", "--withdraw", "--reason", "not yet")
    assert "on the bench" in unit_bench.unit("list").out


def test_the_healthy_state_is_kept_and_a_unit_that_comes_back_is_held_against_it(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("step", "LB-0001", "reseat:flex")
    unit_bench.well("capture", "LB-0001", "whole.json")
    assert "keeps its baseline" in unit_bench.well("baseline", "LB-0001").err
    baseline = unit_bench.facts()[-1]
    assert isinstance(baseline, Baselined)
    assert ("unit", "LG-0002-DEMO") in {(one.of, one.serial) for one in baseline.serials}
    unit_bench.well("close", "LB-0001", "repaired", "--cause", "open:flex")
    unit_bench.well("reopen", "LB-0001", "--claim", "keyboard dead again")
    assert unit_bench.unit("capture", "LB-0001", "lost.json").code == 10
    shown = unit_bench.run("check", "LB-0001").out
    assert shown.index("SINCE THE BASELINE OF") < shown.index("1 of 2 expected devices is missing")
    assert "GONE" in shown
    assert unit_bench.run("diff", "LB-0001").code == 10
    assert unit_bench.run("diff", "LB-0001", "whole.json").code == 0


def test_a_baseline_of_what_is_not_all_there_needs_a_reason_which_is_kept(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("baseline", "LB-0001", "--reason", "sold without a keyboard")
    assert unit_bench.facts()[-1].reason == "sold without a keyboard"
    assert "although not all was present and seen: sold without" in unit_bench.unit("show", "LB-0001").said


@pytest.mark.parametrize(
    ("typed", "ending"),
    [
        ("repaired", Ending.REPAIRED),
        ("sold-as-is", Ending.SOLD_AS_IS),
        ("parted-out", Ending.PARTED_OUT),
        ("returned", Ending.RETURNED),
    ],
)
def test_a_unit_leaves_in_one_of_four_ways(unit_bench: Bench, typed: str, ending: Ending) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    done = unit_bench.well("close", "LB-0001", typed, "--brought", "90", "--remark", "thanks")
    closed = unit_bench.facts()[-1]
    assert (closed.ending, closed.brought, closed.remark, closed.cause_known) == (ending, 90, "thanks", False)
    assert "it teaches nothing until its cause is known" in done.err
    assert ("leaves without a baseline" in done.err) == (ending is Ending.REPAIRED)


@pytest.mark.parametrize(
    ("said", "sites"),
    [
        (["open:flex"], ["open:flex"]),
        (["dead:bluetooth", "open:flex"], ["dead:bluetooth", "open:flex"]),
        (["nothing"], []),
    ],
    ids=str,
)
def test_what_had_failed_counts_from_then_on(unit_bench: Bench, said: list[str], sites: list[str]) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    causes = [word for one in said for word in ("--cause", one)]
    unit_bench.well("close", "LB-0001", "repaired", *causes)
    closed = unit_bench.facts()[-1]
    assert isinstance(closed, Closed)
    assert (closed.cause_known, [one.site for one in closed.causes]) == (True, sites)
    said_of = unit_bench.run("localise", "lost.json", "--full").said
    assert "1 closed case" in said_of


def test_a_unit_that_comes_back_begins_a_new_visit(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("close", "LB-0001", "returned")
    unit_bench.well("reopen", "LB-0001", *_TOLD)
    assert unit_bench.facts()[-1] == Reopened(intake=_INTAKE)
    done = unit_bench.run("check", "LB-0001")
    assert (done.code, done.out) == (3, "")
    assert "nothing was seen of unit LB-0001 since it came in" in done.err


def test_units_are_listed_and_found(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    unit_bench.well("open", "LB-0002", "--model", "brackwell-heron-14")
    unit_bench.well("close", "LB-0001", "parted-out")

    def labels(*words: str) -> list[str]:
        return sorted(one["label"] for one in json.loads(unit_bench.unit(*words, "--json").out)["units"])

    assert labels("list") == ["LB-0002"]
    assert labels("list", "--closed") == ["LB-0001"]
    assert labels("list", "--all") == ["LB-0001", "LB-0002"]
    assert labels("list", "--all", "--model", "brackwell-heron-14") == ["LB-0002"]
    assert labels("find", "lg-0002") == ["LB-0001"]
    assert labels("find", "LB-000") == ["LB-0001", "LB-0002"]
    assert "serial LG-0002-DEMO of unit" in unit_bench.unit("find", "LG-0002").out
    nothing = unit_bench.unit("find", "%")
    assert (nothing.code, nothing.out) == (10, "No unit.\n")


def test_the_history_is_a_document_too(unit_bench: Bench) -> None:
    unit_bench.well(*_OPENED)
    unit_bench.well("step", "LB-0001", "reseat:flex", "--minutes", "9")
    unit_bench.well("amend", "LB-0001", "3", "--set", "minutes=19", "--reason", "misread")
    document = json.loads(unit_bench.unit("show", "LB-0001", "--json").out)
    assert (document["format"], document["schema"], document["unit"]["label"]) == ("usbwatch-unit", 1, "LB-0001")
    step = document["entries"][2]
    assert (step["fact"]["minutes"], step["stands"]["minutes"]) == (9, 19)
    assert [one["fact"]["reason"] for one in step["amendments"]] == ["misread"]


def test_a_time_without_a_zone_is_the_benchs_own(unit_bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """POSIX.1-2024, XBD 8.3: TZ=CET-1 is one hour east of UTC, without summer time."""
    with set_zone("CET-1", monkeypatch):
        unit_bench.well("open", "LB-0001", "--at", "2026-03-02 09:20")
        unit_bench.well("note", "LB-0001", "an offset is heeded", "--at", "2026-03-02T14:30:00+05:30")
        assert [each.entry.at for each in unit_bench.told().standings] == [
            "2026-03-02T08:20:00Z",
            "2026-03-02T09:00:00Z",
        ]
        assert "10:00" in unit_bench.unit("show", "LB-0001").out


def test_a_file_goes_before_a_unit_and_a_unit_before_a_folder(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    (unit_bench.folder / "LB-0001").mkdir()
    assert unit_bench.run("check", "LB-0001").out.startswith("LB-0001 ")
    (unit_bench.folder / "LB-0001").rmdir()
    (unit_bench.folder / "LB-0001").write_bytes((unit_bench.folder / "whole.json").read_bytes())
    assert unit_bench.run("check", "LB-0001").code == 0


def test_several_units_and_captures_are_checked_one_after_another(unit_bench: Bench) -> None:
    unit_bench.well("open", "LB-0001", "lost.json")
    done = unit_bench.run("check", "whole.json", "LB-0001", "LB-0002", "--json")
    one, two, three = json.loads(done.out)["checks"]
    assert done.code == 3
    assert ("casebook_unit" in one, two["casebook_unit"]["label"]) == (False, "LB-0001")
    assert "is neither a file nor a unit of the casebook" in three["problem"]


def test_a_capture_with_a_watch_says_in_the_history_what_it_came_to(unit_bench: Bench) -> None:
    watched = load(str(Path(__file__).parents[2] / "captures" / "larch-13-watched.json"))
    later = replace(watched, watches=(), taken_at="2026-03-11T11:00:00Z")
    for name, capture in (("watched", watched), ("later", later)):
        (unit_bench.folder / f"larch-{name}.json").write_text(to_json(capture), encoding="utf-8")
    unit_bench.well("open", "LB-0001", "--model", "fernhill-larch-13")
    assert unit_bench.unit("capture", "LB-0001", "larch-watched.json").code == 10
    told = "watched 4 min: Keyboard, Touchpad and Fingerprint reader left 6 times; Battery left 2 times"
    assert told in " ".join(unit_bench.run("unit", "show", "LB-0001").out.split())
    assert told in unit_bench.run("unit", "show", "LB-0001", "--json").out
    unit_bench.well("open", "LB-0002", "larch-watched.json", "larch-later.json", "--anyway")
    assert told in " ".join(unit_bench.run("unit", "show", "LB-0002").out.split()), (
        "of each capture, not the last alone"
    )


_LARCH_WATCHED = load(str(Path(__file__).parents[2] / "captures" / "larch-13-watched.json"))


def test_what_came_and_went_in_a_case_is_not_proven_whole(unit_bench: Bench) -> None:
    """Common practice, no source: only a later watch in which it stays proves a bad contact mended."""
    plain = replace(_LARCH_WATCHED, watches=(), taken_at="2026-03-12T10:02:00Z")
    for name, capture in {"opening": _LARCH_WATCHED, "plain": plain}.items():
        (unit_bench.folder / f"{name}.json").write_text(to_json(capture), encoding="utf-8")
    said = "Keyboard, Touchpad, Fingerprint reader and Battery came and went before: not proven until watched again"
    unit_bench.well("open", "LB-0001", "opening.json")
    unit_bench.well("step", "LB-0001", "reseat:top-case-flex")
    after = unit_bench.unit("capture", "LB-0001", "plain.json")
    assert after.code == 11
    assert f"Whole now; {said}" in after.said
    check = unit_bench.run("check", "LB-0001")
    assert check.code == 11
    assert said in check.said
    assert said in unit_bench.unit("show", "LB-0001").said
    report = unit_bench.run("report", "LB-0001", "--format", "text", "-o", "-")
    assert f"Whole now; {said} Do next: Move, warm and cool Top-case flex" in report.said
    assert said in unit_bench.refused(3, "baseline", "LB-0001")
    closed = unit_bench.unit("close", "LB-0001", "repaired", "--cause", "unknown")
    assert closed.code == 0
    assert f"unit LB-0001 leaves, and {said}" in closed.said


def test_a_report_tells_no_figure_twice(unit_bench: Bench) -> None:
    (unit_bench.folder / "opening.json").write_text(to_json(_LARCH_WATCHED), encoding="utf-8")
    report = unit_bench.run("report", "opening.json", "--format", "text", "-o", "-")
    assert "Likeliest cause: Top-case flex (Top-case flex makes contact only at times), 99%" in report.said


def test_a_difference_between_a_watch_and_a_plain_capture_is_not_that_nothing_changed(unit_bench: Bench) -> None:
    plain = replace(_LARCH_WATCHED, watches=(), taken_at="2026-03-12T10:02:00Z")
    stayed = replace(plain, watches=tuple(replace(one, events=(), marks=()) for one in _LARCH_WATCHED.watches))
    for name, capture in {"opening": _LARCH_WATCHED, "plain": plain, "stayed": stayed}.items():
        (unit_bench.folder / f"{name}.json").write_text(to_json(capture), encoding="utf-8")
    done = unit_bench.run("diff", "opening.json", "plain.json")
    assert done.code == 11
    assert "Nothing changed as far as both saw it; only A was watched" in done.said
    assert "B was not, so nothing is known of what comes and goes in it." in done.said
    quiet = unit_bench.run("diff", "plain.json", "stayed.json")
    assert quiet.code == 0
    assert "A was not, so nothing is known of what comes and goes in it." in quiet.said
