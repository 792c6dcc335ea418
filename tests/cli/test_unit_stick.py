"""A stick that comes back to the bench: its captures, with the label, the steps and the answers that were given."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from support.hostile import HOSTILE
from support.unit_bench import Bench

from usbwatch.capture import load, to_json
from usbwatch.capture.saved import saved_of
from usbwatch.model import Answer, Capture, Step, StepKind
from usbwatch.model.history import Answered, Captured, StepDone
from usbwatch.stick.notes import Notes
from usbwatch.stick.notes import to_json as notes_json

_CAPTURES = Path(__file__).parents[2] / "captures"
LOST = load(str(_CAPTURES / "larch-13-top-case-lost.json"))
AFTER = load(str(_CAPTURES / "larch-13-after-top-case.json"))
HERON = load(str(_CAPTURES / "heron-14-healthy.json"))
SWAP = Step(kind=StepKind.SWAP, of="top-case")


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    (folder / "captures").mkdir(parents=True)
    (folder / "READ-ME.txt").write_text("usbwatch")
    return folder


def put(stick: Path, name: str, capture: Capture, **noted: Any) -> None:  # noqa: ANN401 - fields of Notes
    """A capture with what was noted of it, as the stick has them."""
    (stick / f"captures/{name}.json").write_text(to_json(capture), "utf-8")
    told = Notes(capture=saved_of(capture).digest, **noted)
    (stick / f"captures/{name}.unit.json").write_text(notes_json(told), "ascii")


def labelled(stick: Path) -> None:
    put(stick, "a", LOST, label="LB-0001", answers=(Answer(check="runs-on-battery", yes=False),))
    put(stick, "b", AFTER, label="LB-0001", after=("a.json",), steps=(SWAP,))


def test_a_labelled_unit_is_opened_with_all_that_was_done_and_seen(unit_bench: Bench, stick: Path) -> None:
    labelled(stick)
    done = unit_bench.well("import", str(stick))
    assert "unit LB-0001 is open" in done.said
    facts = unit_bench.facts()
    assert [type(fact) for fact in facts] == [Captured, Answered, StepDone, Captured]
    assert facts[1] == Answered(check="runs-on-battery", yes=False)
    assert [fact.step for fact in facts if isinstance(fact, StepDone)] == [SWAP]
    assert unit_bench.told().model == "fernhill-larch-13"


def test_importing_twice_changes_nothing(unit_bench: Bench, stick: Path) -> None:
    labelled(stick)
    unit_bench.well("import", str(stick))
    before = unit_bench.held()
    again = unit_bench.unit("import", str(stick))
    assert again.code == 0
    assert again.said.count("has this capture already") == 2
    assert unit_bench.held() == before


def test_the_folder_and_single_files_do_as_well(unit_bench: Bench, stick: Path) -> None:
    labelled(stick)
    unit_bench.well("import", *sorted(map(str, (stick / "captures").glob("*.json"))))
    assert [type(fact) for fact in unit_bench.facts()] == [Captured, Answered, StepDone, Captured]
    assert unit_bench.unit("import", str(stick / "captures")).said.count("already") == 2


def test_a_unit_on_the_bench_is_known_by_its_serial_number(unit_bench: Bench, stick: Path) -> None:
    unit_bench.well("open", "Z1", str(_CAPTURES / "larch-13-top-case-lost.json"))
    put(stick, "b", AFTER, steps=(SWAP,))
    unit_bench.well("import", str(stick))
    assert [type(fact) for fact in unit_bench.facts("Z1")] == [Captured, StepDone, Captured]


def test_a_unit_that_nobody_knows_and_nobody_labelled_is_told_how_to_open(unit_bench: Bench, stick: Path) -> None:
    put(stick, "a", LOST)
    put(stick, "h", HERON, label="LB-0002")
    done = unit_bench.unit("import", str(stick))
    assert done.code == 3
    assert "is of a unit that is not on the bench (serial number LG-0001-DEMO)" in done.said
    assert "usbwatch unit open LABEL" in done.said
    assert [type(fact) for fact in unit_bench.facts("LB-0002")] == [Captured]  # the other one is taken in


def test_a_label_given_beside_a_later_capture_is_the_unit_s(unit_bench: Bench, stick: Path) -> None:
    put(stick, "a", LOST)
    put(stick, "b", AFTER, label="LB-0001", steps=(SWAP,))
    unit_bench.well("import", str(stick))
    assert [type(fact) for fact in unit_bench.facts()] == [Captured, StepDone, Captured]


def test_the_label_that_was_given_last_is_the_unit_s(unit_bench: Bench, stick: Path) -> None:
    put(stick, "a", LOST, label="LB-00001")
    put(stick, "b", AFTER, label="LB-0001", after=("a.json",), steps=(SWAP,))
    done = unit_bench.well("import", str(stick))
    assert "unit LB-0001 is open" in done.said
    assert [type(fact) for fact in unit_bench.facts()] == [Captured, StepDone, Captured]


def test_a_unit_that_was_opened_at_intake_without_a_capture_is_known_by_its_label(
    unit_bench: Bench, stick: Path
) -> None:
    unit_bench.well("open", "Z1", str(_CAPTURES / "larch-13-top-case-lost.json"))
    unit_bench.well("open", "LB-0001", "--model", "fernhill-larch-13")
    put(stick, "b", AFTER, label="LB-0001")
    unit_bench.well("import", str(stick))
    assert [type(fact) for fact in unit_bench.facts("LB-0001")] == [Captured]


def test_the_order_is_that_of_the_looks_whatever_the_clock_said(unit_bench: Bench, stick: Path) -> None:
    put(stick, "a", LOST, label="LB-0001")
    early = replace(AFTER, taken_at="2011-01-01T00:00:00Z")
    put(stick, "b", early, label="LB-0001", after=("a.json",), steps=(SWAP,), clock_wrong=True)
    unit_bench.well("import", str(stick))
    taken = [fact.taken_at for fact in unit_bench.facts() if isinstance(fact, Captured)]
    assert taken == [LOST.taken_at, "2011-01-01T00:00:00Z"]


def test_a_closed_unit_is_not_opened_again_by_its_label(unit_bench: Bench, stick: Path) -> None:
    labelled(stick)
    unit_bench.well("import", str(stick))
    unit_bench.well("close", "LB-0001", "sold-as-is")
    put(stick, "c", replace(LOST, taken_at="2026-05-01T00:00:00Z"), label="LB-0001")
    done = unit_bench.unit("import", str(stick / "captures/c.json"))
    assert done.code == 3
    assert "usbwatch unit reopen LB-0001" in done.said


def test_a_label_of_another_unit_on_the_bench_does_not_mix_them(unit_bench: Bench, stick: Path) -> None:
    unit_bench.well("open", "LB-0001", str(_CAPTURES / "larch-13-top-case-lost.json"))
    put(stick, "h", HERON, label="LB-0001")
    before = unit_bench.held()
    done = unit_bench.unit("import", str(stick))
    assert done.code == 3
    assert "is of another unit than the one before" in done.said
    assert unit_bench.held() == before


def test_a_serial_number_outweighs_a_label_and_that_is_told(unit_bench: Bench, stick: Path) -> None:
    unit_bench.well("open", "Z1", str(_CAPTURES / "larch-13-top-case-lost.json"))
    put(stick, "b", AFTER, label="LB-0001", steps=(SWAP,))
    done = unit_bench.well("import", str(stick))
    assert "labelled LB-0001 on the unit; by its serial number it is unit Z1, and goes there" in done.said
    assert "usbwatch unit amend Z1 1 --set label=LB-0001" in done.said
    assert [type(fact) for fact in unit_bench.facts("Z1")] == [Captured, StepDone, Captured]


def test_what_the_profile_does_not_know_is_told_and_left_out(unit_bench: Bench, stick: Path) -> None:
    steps = (Step(kind=StepKind.RESEAT, of="no-such-link"), SWAP)
    put(stick, "a", LOST, label="LB-0001", steps=())
    put(stick, "b", AFTER, steps=steps, answers=(Answer(check="no-such-check", yes=True),), after=("a.json",))
    done = unit_bench.well("import", str(stick))
    assert "the step reseat:no-such-link that was noted is left out" in done.said
    assert "the answer no-such-check that was noted is left out" in done.said
    assert [type(fact) for fact in unit_bench.facts()] == [Captured, StepDone, Captured]


def test_answers_that_were_given_later_are_added(unit_bench: Bench, stick: Path) -> None:
    put(stick, "a", LOST, label="LB-0001")
    unit_bench.well("import", str(stick))
    later = Notes(capture=saved_of(LOST).digest, label="LB-0001", answers=(Answer(check="runs-on-battery", yes=True),))
    (stick / "captures/a.unit-2.json").write_text(notes_json(later))
    assert "what was answered since was added" in unit_bench.well("import", str(stick)).said
    assert [type(fact) for fact in unit_bench.facts()] == [Captured, Answered]
    before = unit_bench.held()
    unit_bench.well("import", str(stick))
    assert unit_bench.held() == before


@pytest.mark.parametrize("first", [(), (Answer(check="runs-on-battery", yes=False),)], ids=["none", "once"])
def test_what_was_tried_twice_on_the_unit_is_two_answers_in_the_book(
    unit_bench: Bench, stick: Path, first: tuple[Answer, ...]
) -> None:
    put(stick, "a", LOST, label="LB-0001", answers=first)
    unit_bench.well("import", str(stick))
    twice = (Answer(check="runs-on-battery", yes=False, again=True),)
    later = Notes(capture=saved_of(LOST).digest, label="LB-0001", answers=twice)
    (stick / "captures/a.unit-2.json").write_text(notes_json(later))
    unit_bench.well("import", str(stick))
    assert [type(fact) for fact in unit_bench.facts()] == [Captured, Answered, Answered]
    before = unit_bench.held()
    unit_bench.well("import", str(stick))
    assert unit_bench.held() == before
    assert "tried twice" in unit_bench.run("check", "LB-0001").out


WRONG: dict[str, Any] = {
    "no JSON": "{",
    "another format": {"format": "usbwatch-capture", "schema": 1},
    "a newer schema": {"schema": 2},
    "a schema that is true": {"schema": True},
    "no digest": {"capture": "x"},
    "a list for a text": {"label": ["x"]},
    "a path for a name": {"after": ["../../etc/passwd.json"]},
    "a step of no kind": {"steps": [{"kind": "burn", "of": "mainboard"}]},
    "a step on a path": {"steps": [{"kind": "swap", "of": "../x"}]},
    "an answer that is neither": {"answers": [{"check": "x", "yes": "maybe"}]},
    "too many answers": {"answers": [{"check": "x", "yes": True}] * 1000},
    "a deep nest": "[" * 100_000,
    "too large": " " * 200_000,
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
def test_notes_that_are_wrong_keep_no_capture_away(wrong: Any, unit_bench: Bench, stick: Path) -> None:  # noqa: ANN401
    unit_bench.well("open", "Z1", str(_CAPTURES / "larch-13-top-case-lost.json"))
    put(stick, "b", AFTER)
    good = json.loads((stick / "captures/b.unit.json").read_text())
    text = wrong if isinstance(wrong, str) else json.dumps({**good, **wrong})
    (stick / "captures/b.unit.json").write_text(text)
    done = unit_bench.well("import", str(stick))
    assert [type(fact) for fact in unit_bench.facts("Z1")] == [Captured, Captured]
    (told,) = [line for line in done.err.splitlines() if "b.unit.json" in line]
    assert told.startswith("usbwatch: notes ")
    assert told.endswith(".")


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_label_gets_nowhere(text: str, unit_bench: Bench, stick: Path) -> None:
    put(stick, "a", LOST)
    notes = json.loads((stick / "captures/a.unit.json").read_text())
    (stick / "captures/a.unit.json").write_text(json.dumps({**notes, "label": text}))
    done = unit_bench.unit("import", str(stick))
    assert all(line.isprintable() for line in (*done.out.splitlines(), *done.err.splitlines()))
    opened = [unit for unit in unit_bench.run("unit", "list", "--json").out.splitlines() if '"label"' in unit]
    assert done.code == (10 if opened else 3)


def test_a_folder_that_holds_other_things(unit_bench: Bench, stick: Path, tmp_path: Path) -> None:
    unit_bench.well("open", "Z1", str(_CAPTURES / "larch-13-top-case-lost.json"))
    put(stick, "b", AFTER)
    (stick / "captures/broken.json").write_text("{")
    (stick / "captures/.hidden.json").write_text("{")
    (stick / "captures/folder.json").mkdir()
    (stick / "captures/link.json").symlink_to(tmp_path / "nowhere")
    shutil.copy(stick / "captures/b.json", stick / "captures/twice.json")
    done = unit_bench.unit("import", str(stick))
    assert done.code == 3
    assert "broken.json" in done.said
    assert "hidden" not in done.said
    assert [type(fact) for fact in unit_bench.facts("Z1")] == [Captured, Captured]


def test_a_folder_without_captures_is_refused(unit_bench: Bench, stick: Path) -> None:
    unit_bench.well("open", "Z1")
    assert "is a folder without captures" in unit_bench.refused(3, "import", str(stick))
