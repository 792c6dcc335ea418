"""The page that localising shows: stored pages at fixed widths, and what must hold for every page."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.invented import (
    FLEX_OPEN,
    NO_SUSPECTS,
    TOP_CASE_LOST,
    WHOLE,
    WORN_PAIR,
    capture,
    finding,
    findings,
    suspicion,
)

from usbwatch.model import Answer, HandCheck, Hypothesis, Step, StepKind, Suspects, Verdict
from usbwatch.show import Localised, Seen, Supposed, json_text, localise_document, localise_view, plain
from usbwatch.show.lines import cells

GOLDEN = Path(__file__).parent / "golden"

LOOKS = (
    Seen(capture=capture(), path="first.json", when="2026-11-24 15:05 CET"),
    Seen(
        capture=capture(taken_at="2026-11-24T15:20:00Z"),
        path="second.json",
        when="2026-11-24 16:20 CET",
        steps=(Step(kind=StepKind.FLEX, of="display-cable"), Step(kind=StepKind.DRAIN, of="")),
        answers=(Answer(check="battery-alone", yes=True),),
    ),
)
SUPPOSED = Supposed(
    suppositions=("top-case-flex is good", "camera working"),
    suspects=replace(
        TOP_CASE_LOST.suspects,
        parts=(suspicion("top-case", 0.81), suspicion("top-case-rail", 0.19), suspicion("top-case-flex", 0.001)),
    ),
)
LOCALISED = Localised(checked=TOP_CASE_LOST, seen=LOOKS, supposed=SUPPOSED, at_hand=("display",))


def page(localised: Localised, width: int = 80) -> str:
    """The page in full."""
    return plain(localise_view(localised, width, full=True), width)


def short(localised: Localised, width: int = 80) -> str:
    return plain(localise_view(localised, width), width)


def flat(localised: Localised) -> str:
    return " ".join(page(localised).split())


def with_suspects(suspects: Suspects) -> Localised:
    return Localised(checked=replace(TOP_CASE_LOST, suspects=suspects), seen=LOOKS)


def document(localised: Localised) -> Any:  # noqa: ANN401
    return json.loads(json_text(localise_document(localised)))


@pytest.mark.parametrize("width", [60, 80, 120, 200])
def test_the_page_is_as_stored(width: int) -> None:
    assert_golden(GOLDEN, f"localise-{width}.txt", page(LOCALISED, width))


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_short_page_is_as_stored(width: int) -> None:
    assert_golden(GOLDEN, f"localise-short-{width}.txt", short(LOCALISED, width))


def test_the_short_page_says_what_to_do_before_it_says_why_and_where_more_stands() -> None:
    text = " ".join(short(LOCALISED).split())
    verdict, do, suspects = (text.index(each) for each in ("Do next:", "WHAT TO DO NEXT", "WHERE THE FAULT LIES"))
    assert verdict < do < suspects < text.index("add --full.")
    assert "argues for Top-case hub is missing" in text
    assert "argues against “Does it run on battery alone?” is answered with yes" in text
    assert "WHICH FAULTS TOGETHER" not in text
    assert len(short(LOCALISED).splitlines()) < len(page(LOCALISED).splitlines())


def test_the_short_page_counts_the_steps_that_it_does_not_name() -> None:
    first = TOP_CASE_LOST.plan.proposals[0]
    many = tuple(replace(first, of=f"link-{n}", words=f"Open link {n}") for n in range(9))
    checked = replace(TOP_CASE_LOST, plan=replace(TOP_CASE_LOST.plan, proposals=many))
    text = short(replace(LOCALISED, checked=checked))
    assert "Open link 6" in text
    assert "Open link 7" not in text
    assert "        and 2 more\n" in text
    every = page(replace(LOCALISED, checked=checked))
    assert "Open link 8" in every
    assert " more\n" not in every


def test_with_nothing_wrong_the_short_page_has_no_suspects() -> None:
    text = short(Localised(checked=WHOLE, seen=LOOKS))
    assert "WHERE THE FAULT LIES" not in text
    assert "--full" not in text


def test_an_answer_that_the_capture_contradicts_is_called_out_with_the_number_of_the_capture() -> None:
    check = HandCheck(id="keys", question="Does every key type?", needs=("keyboard",))
    checked = replace(TOP_CASE_LOST, profile=replace(TOP_CASE_LOST.profile, checks=(check,)))
    lost = replace(findings(finding("keyboard", Verdict.MISSING)), answers=(Answer(check="keys", yes=True),))
    looks = (replace(LOOKS[0], findings=lost), LOOKS[1])
    said = (
        "! “Does every key type?” is answered with yes, but Keyboard is missing in capture 1: "
        "both can hardly be so. Capture again, and ask again."
    )
    text = " ".join(short(Localised(checked=checked, seen=looks)).split())
    assert said in text
    alone = " ".join(short(Localised(checked=checked, seen=looks[:1])).split())
    assert said.replace("capture 1", "this capture") in alone


def test_what_contradicts_itself_is_settled_before_any_step_and_the_figures_say_what_they_rest_on() -> None:
    keys = HandCheck(id="keys", question="Does every key type?", needs=("keyboard",))
    yes = Answer(check="keys", yes=True)
    lost = replace(findings(finding("keyboard", Verdict.MISSING)), answers=(yes,))
    checked = replace(TOP_CASE_LOST, profile=replace(TOP_CASE_LOST.profile, checks=(keys,)), findings=lost)
    box, _, below = short(Localised(checked=checked, seen=LOOKS[:1])).partition("WHAT TO DO NEXT")
    box, below = " ".join(box.split()), " ".join(below.split())
    assert "Do next: capture again and ask again: what was answered and what the capture shows can hardly both" in box
    assert "Do next: Open Top-case flex" not in box
    assert "every chance and every step below rests on the contradiction" in box
    assert below.startswith("First: capture again and ask again. What follows rests on the contradiction.")
    plain_no = replace(checked, findings=replace(lost, answers=(replace(yes, yes=False),)))
    assert "Do next: Open Top-case flex" in " ".join(short(Localised(checked=plain_no, seen=LOOKS[:1])).split())


def test_captures_that_were_not_weighed_are_named() -> None:
    text = " ".join(short(replace(LOCALISED, not_weighed=1)).split())
    assert "Note: capture 1 is not weighed: of so many that differ, only the latest 1" in text


def test_the_page_in_ascii_is_as_stored() -> None:
    text = plain(localise_view(LOCALISED, 80, full=True), 80, ascii_only=True)
    assert text.isascii()
    assert_golden(GOLDEN, "localise-80-ascii.txt", text)


def test_what_was_done_stands_between_the_captures() -> None:
    text = flat(LOCALISED)
    done = "Display cable moved, warmed or cooled during the capture Left without any power for a while"
    assert text.index("first.json") < text.index(done) < text.index("second.json")
    assert "known good and at hand: Display assembly" in text


def test_a_supposition_shows_the_ranking_before_and_after_it() -> None:
    rows = page(LOCALISED).splitlines()
    at = rows.index("  supposed: “top-case-flex is good” and “camera working”")
    assert rows[at + 2].split() == ["now", "then"]
    assert rows[at + 3].split() == ["17%", "81%", "Top", "case"]
    assert ["71%", "<1%", "Top-case", "flex"] in [row.split() for row in rows[at + 3 : at + 9]]
    assert "supposed" not in page(replace(LOCALISED, supposed=None))


def test_a_suspect_says_how_likely_each_way_was_and_where_that_figure_is_from() -> None:
    text = flat(LOCALISED)
    assert "9% worn pair (0.8% before looking) figures are invented" in text


def test_the_strongest_argument_is_said_in_words() -> None:
    text = flat(LOCALISED)
    assert "argues most for Top-case hub is missing" in text
    assert "argues most against “Does it run on battery alone?” is answered with yes" in text


def test_an_argument_from_an_earlier_capture_is_said_to_be_one() -> None:
    part = replace(suspicion("top-case", 0.5, explains=("hub",), most_for="keyboard"), for_was_wrong=True)
    well = with_suspects(replace(NO_SUSPECTS, parts=(part,)))
    well = replace(well, checked=replace(well.checked, findings=findings(finding("hub", Verdict.MISSING))))
    assert "argues most for Keyboard was not well before" in flat(well)


def test_a_cure_says_whether_it_would_do_alone() -> None:
    text = flat(LOCALISED)
    assert "reseat Top-case flex: needed 70%, enough by itself 58%" in text
    assert "replace Display cable: needed 9%, hardly enough by itself" in text


def test_sets_of_faults_are_listed_with_what_is_left_out() -> None:
    text = flat(LOCALISED)
    assert "7% open or unseated + worn pair speaks against Panel is well" in text
    assert "Other sets of at most 2 faults: 33% together. Sets of more than 2 faults: 2% together." in text
    assert "at once are plausible" not in text


def test_many_faults_at_once_are_plausible_when_larger_sets_hold_much() -> None:
    text = flat(with_suspects(replace(TOP_CASE_LOST.suspects, depth=3, left_out=0.31)))
    assert "Sets of more than 3 faults: 31% together. More faults than three at once are plausible." in text


def test_the_fewest_faults_that_explain_everything_are_named() -> None:
    (one, *_), (other, *_) = (each.sites[0] for each in TOP_CASE_LOST.suspects.parts[:2])
    text = flat(with_suspects(replace(TOP_CASE_LOST.suspects, fewest=((one,), (one, other)))))
    assert f"Fewest faults that explain everything found wrong: {one.name}; or {one.name} + {other.name}." in text
    for none in ((), ((),)):
        assert "Fewest faults" not in flat(with_suspects(replace(TOP_CASE_LOST.suspects, fewest=none)))


def test_a_probability_that_could_not_be_worked_out_is_not_made_up() -> None:
    text = flat(with_suspects(replace(TOP_CASE_LOST.suspects, left_out=None)))
    assert "How probable sets of more than 2 faults are could not be worked out." in text


def test_a_fault_that_a_step_has_mended_is_marked_and_sets_are_shown_once() -> None:
    both = Hypothesis(
        sites=(FLEX_OPEN, WORN_PAIR), probability=0.2, explains=(), leaves=(), against=(), mended=(FLEX_OPEN.id,)
    )
    suspects = replace(TOP_CASE_LOST.suspects, hypotheses=(both, replace(both, probability=0.1)))
    text = flat(with_suspects(suspects))
    assert text.count("30% open or unseated (mended since) + worn pair") == 1


def test_what_no_capture_tells_apart_comes_with_the_cheapest_thing_that_would() -> None:
    like = [suspicion(part, 0.4, explains=("hub",)) for part in ("top-case-flex", "top-case")]
    alone = suspicion("display-cable", 0.3, explains=("camera",))
    text = flat(with_suspects(replace(NO_SUSPECTS, parts=(*like, alone))))
    _, _, told = text.partition("WHAT NO CAPTURE CAN TELL APART ")
    wanted = "Top-case flex and Top case told by, cheapest Does the caps lock light come on? (EUR <1, 1 min) "
    assert told.startswith(wanted)


def test_every_proposal_is_ranked_by_what_it_would_cost_to_the_end() -> None:
    text = flat(LOCALISED)
    assert "57% all of it is well: it is mended" in text
    assert "38% nothing changes: points to Top case (41%); then expected to cost EUR 122" in text
    assert "4 EUR 89 Fit the known-good Display assembly on trial, and capture again (EUR 24, 30 min)" in text


def test_a_whole_unit_needs_no_suspects() -> None:
    text = page(Localised(checked=WHOLE, seen=LOOKS[:1]))
    assert "Whole: all 19 expected devices are present" in text
    assert "SUSPECTS" not in text
    assert "TO DO" not in text


def test_a_profile_of_another_model_names_no_part() -> None:
    checked = replace(TOP_CASE_LOST, findings=replace(TOP_CASE_LOST.findings, other_model=True))
    text = page(Localised(checked=checked, seen=LOOKS))
    assert "No part is named: this profile is for another model" in text
    assert "SUSPECTS" not in text


def test_the_document_has_all_that_the_page_has() -> None:
    shown = document(LOCALISED)
    assert (shown["format"], shown["schema"], shown["outcome"]) == ("usbwatch-localise", 1, "wrong")
    assert [one["path"] for one in shown["captures"]] == ["first.json", "second.json"]
    assert shown["captures"][1]["steps"] == [{"kind": "flex", "of": "display-cable"}, {"kind": "drain", "of": ""}]
    assert shown["captures"][1]["answers"] == [{"check": "battery-alone", "yes": True, "again": False}]
    assert shown["at_hand"] == ["display"]
    assert shown["suspects"]["left_out"] == 0.016
    assert shown["suspects"]["parts"][0]["most_for"] == "hub"
    assert shown["suspects"]["cures"][0] == {
        "id": "reseat:top-case-flex",
        "cure": {"kind": "reseat", "of": "top-case-flex"},
        "probability": 0.7,
        "alone": 0.58,
    }
    assert shown["plan"]["proposals"][1]["id"] == "check:caps-light"
    assert shown["supposed"]["suspects"]["parts"][0]["probability"] == 0.81
    assert document(replace(LOCALISED, supposed=None))["supposed"] is None


def test_the_document_names_what_cannot_be_told_apart() -> None:
    like = [suspicion(part, 0.4, explains=("hub",)) for part in ("top-case-flex", "top-case")]
    shown = document(with_suspects(replace(NO_SUSPECTS, parts=tuple(like))))
    assert shown["alike"] == [{"parts": ["top-case-flex", "top-case"], "cheapest_to_tell": "check:caps-light"}]


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_of_a_unit_or_a_profile_can_break_the_page(text: str, width: int) -> None:
    keep = frozenset({"id", "within", "joins", "device", "part", "charged_to", "check", "source", "function"})
    rows = page(poisoned(LOCALISED, text, keep), width).removesuffix("\n").split("\n")
    assert [row for row in rows if not row.isprintable() or cells(row) > width] == []


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_ids_that_hold_anything_are_still_shown(text: str) -> None:
    rows = page(poisoned(LOCALISED, text)).removesuffix("\n").split("\n")
    assert [row for row in rows if not row.isprintable()] == []
    assert json_text(localise_document(poisoned(LOCALISED, text))).isascii()


def test_a_page_whose_figures_rest_on_closed_cases_says_so_and_of_which_way_each_is() -> None:
    counted = replace(FLEX_OPEN, origin="3 of 41 closed cases of this model, from an elicited 0.012")
    suspects = replace(
        TOP_CASE_LOST.suspects,
        parts=(suspicion("top-case-flex", 0.8, (counted, 0.7), (WORN_PAIR, 0.1), explains=("keyboard",)),),
    )
    learnt = replace(LOCALISED, checked=replace(TOP_CASE_LOST, suspects=suspects), supposed=None)
    for text in (flat(learnt), " ".join(short(learnt).split())):
        assert "rest on how often each part was the cause in closed cases" in text
        assert "rest on elicited figures" not in text
    assert "open or unseated: 3 of 41 closed cases of this model, from an elicited 0.012" in flat(learnt)
    assert "rest on elicited figures" in flat(LOCALISED)
