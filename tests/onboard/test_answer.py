"""The one page that nobody has to ask for, at the sizes that consoles have."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from onboard.scenes import LOST, SCENES, SIZES
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned

from usbwatch.model import Advice, Verdict
from usbwatch.onboard.answer import Answer, answer_lines, answer_page
from usbwatch.onboard.letters import console_text
from usbwatch.show.lines import Line
from usbwatch.show.report.doing import next_step
from usbwatch.show.verdict import Outcome, outcome, sentence

GOLDEN = Path(__file__).parent / "golden"


def text_of(lines: list[Line]) -> str:
    return "".join(f"{one.text.rstrip()}\n" for one in lines)


def words_of(lines: list[Line]) -> str:
    """All that stands there, without regard to where lines were broken."""
    return " ".join(text_of(lines).split())


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("scene", SCENES)
def test_the_page_is_as_stored(scene: str, size: tuple[int, int]) -> None:
    assert_golden(GOLDEN, f"{scene}-{size[0]}x{size[1]}.txt", text_of(answer_page(SCENES[scene], *size)))


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("scene", SCENES)
def test_verdict_step_and_cautions_are_on_the_page_whatever_its_size(scene: str, size: tuple[int, int]) -> None:
    answer = SCENES[scene]
    shown = words_of(answer_page(answer, *size))
    found = answer.checked.findings
    said = sentence(found)
    assert console_text(f"{said[:1].upper()}{said[1:]}.") in shown
    assert answer.checked.capture.unit.product_name in shown
    assert f"serial {answer.checked.capture.unit.product_serial}" in shown
    step = next_step(answer.checked, money=False)
    if step is not None:
        for told in (step.words, *step.cautions):
            assert " ".join(console_text(told).split()) in shown
    names = {device.id: device.name for device in answer.checked.profile.devices}
    wrong = [one for one in found.findings if one.verdict not in (Verdict.PRESENT, Verdict.UNSEEN)]
    # By another model's profile nothing can be said of this unit's parts.
    assert found.other_model or all(names[one.device] in shown for one in wrong)
    assert answer.is_kept or LOST in shown


def test_the_scenes_have_what_the_page_is_tried_with() -> None:
    """Else the test above might check nothing."""
    assert {outcome(one.checked.findings) for one in SCENES.values()} >= {Outcome.WHOLE, Outcome.WRONG}
    steps = [next_step(one.checked, money=False) for one in SCENES.values()]
    assert any(one is not None and one.cautions for one in steps)
    assert SCENES["another-model"].checked.plan.advice is Advice.OTHER_MODEL


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_what_was_not_seen_is_never_told_as_missing(size: tuple[int, int]) -> None:
    shown = words_of(answer_page(SCENES["not-known"], *size))
    assert re.search(r"MISSING Touchpad or pointing stick; unseen Keyboard", shown)


def test_costs_are_shown_only_where_that_was_allowed() -> None:
    answer = SCENES["top-case-lost"]
    assert "12, 18 min" in words_of(answer_lines(replace(answer, money=True)))
    without = words_of(answer_lines(replace(answer, money=False)))
    assert "18 min" in without
    assert "cost" not in without
    assert "spent" not in without


def test_nothing_of_a_unit_that_is_not_known_is_called_missing_for_want_of_a_profile() -> None:
    shown = words_of(answer_page(SCENES["not-known"], 120, 33))
    assert "This model is not known to this stick" in shown
    assert "Fingerprint" not in shown  # of the model's own profile: a generic laptop has none to miss


def test_a_state_is_told_by_word_and_shape() -> None:
    """So that it can be read without colour: each row of a subassembly begins with its sign and has its word."""
    lines = answer_page(SCENES["top-case-lost"], 120, 33)
    (row,) = [one.text for one in lines if "TOP CASE" in one.text]
    assert row.startswith("X TOP CASE  MISSING ")


@pytest.mark.parametrize("scene", SCENES)
def test_every_letter_is_one_that_the_console_has(scene: str) -> None:
    """Code page 437, by Python's codec (Unicode Consortium, CP437.TXT)."""
    for size in SIZES:
        text_of(answer_page(SCENES[scene], *size)).encode("cp437")


@pytest.mark.properties
@given(width=st.integers(20, 200), height=st.integers(8, 70), scene=st.sampled_from(list(SCENES)))
def test_any_console_gets_a_page_of_exactly_its_size(width: int, height: int, scene: str) -> None:
    lines = answer_page(SCENES[scene], width, height)
    assert len(lines) == height
    assert all(len(one.text) <= width for one in lines)


def hostile(text: str) -> Answer:
    """Every string that comes from the unit is this one."""
    answer = SCENES["top-case-lost"]
    keep = frozenset({"location", "bus", "function", "functions"})
    capture = replace(answer.checked.capture, unit=poisoned(answer.checked.capture.unit, text))
    findings = replace(
        answer.checked.findings,
        findings=tuple(
            replace(one, reasons=(text, *one.reasons[1:]), node=poisoned(one.node, text, keep))
            for one in answer.checked.findings.findings
        ),
    )
    checked = replace(answer.checked, capture=capture, findings=findings)
    return replace(answer, checked=checked, label=text, notices=(text, text))


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_no_name_from_the_unit_gets_out_of_its_place(text: str, size: tuple[int, int]) -> None:
    lines = answer_page(hostile(text), *size)
    assert len(lines) == size[1]
    for one in lines:
        assert one.text.isprintable()
        assert len(one.text) <= size[0]
        one.text.encode("cp437")


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_unit_hides_neither_the_verdict_nor_the_step(text: str) -> None:
    shown = words_of(answer_page(hostile(text), 80, 25))
    assert "3 of 19 expected devices are missing; 1 is impaired." in shown
    assert "Open Top-case flex, look at both ends, seat it again" in shown
