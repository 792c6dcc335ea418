"""What if: suppositions move the ranking, never to certainty, and say so when they cannot be made."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, found

from usbwatch.errors import BadSupposition, UsbwatchError
from usbwatch.localise import believe, suspects_of
from usbwatch.localise.suppose import supposing
from usbwatch.model import Answer, Look, Part, PartKind, Step, StepKind, Suspects

LOST = Look(findings=found(HERON, absent=("keyboard", "touchpad", "gauge")))


def told(*suppositions: str) -> Suspects:
    return suspects_of(supposing(HERON, (LOST,), suppositions))


def chance(found_: Suspects, part: str) -> float:
    return next(each.probability for each in found_.parts if each.part == part)


NOW = suspects_of(believe(HERON, (LOST,)))


def test_without_a_supposition_nothing_moves() -> None:
    assert told() == NOW


def test_a_good_flex_leaves_a_thousandth_of_its_odds() -> None:
    before, then = chance(NOW, "top-case-flex"), chance(told("top-case-flex is good"), "top-case-flex")
    assert then / (1 - then) == pytest.approx(before / (1 - before) / 1000, rel=0.02)
    assert chance(told("top-case-flex is good"), "mainboard") > 2 * chance(NOW, "mainboard")


@pytest.mark.parametrize("part", ["top-case-flex", "mainboard", "battery-pack", "display"])
def test_a_bad_part_has_failed_in_one_of_its_ways_but_is_not_certain_to_have(part: str) -> None:
    then = told(f"{part} is bad")
    assert 0.999 < chance(then, part) < 1
    before = {site.id: p for each in NOW.parts if each.part == part for site, p in each.sites}
    after = {site.id: p for each in then.parts if each.part == part for site, p in each.sites}
    # Which of them it is, it is for the same reasons as before: what is rare among them stays rare.
    assert max(after, key=lambda id_: after[id_]) == max(before, key=lambda id_: before[id_])


def test_a_bad_part_explains_the_others_away() -> None:
    assert chance(told("top-case-flex is bad"), "mainboard") < chance(NOW, "mainboard") / 2


def test_a_device_counts_as_if_it_had_been_seen_so() -> None:
    seen = suspects_of(believe(HERON, (Look(findings=found(HERON, absent=("keyboard", "touchpad"))),)))
    assert told("gauge working") == told("gauge is working") == seen


def test_a_check_counts_as_if_it_had_been_answered_so() -> None:
    answered = replace(LOST, findings=found(HERON, absent=("keyboard", "touchpad", "gauge"), answers={"keys": False}))
    assert told("keys no") == suspects_of(believe(HERON, (answered,)))


def test_what_was_tried_twice_is_not_supposed_anew() -> None:
    twice = Look(findings=replace(LOST.findings, answers=(Answer(check="keys", yes=False, again=True),)))
    known = suspects_of(believe(HERON, (twice,)))
    assert suspects_of(supposing(HERON, (twice,), ("keys no",))) == known != told("keys no")


@pytest.mark.parametrize("state", ["absent", "silent", "failed", "slow", "undriven", "intermittent"])
def test_every_state_of_a_device_can_be_supposed(state: str) -> None:
    assert (
        "ethernet" in told(f"ethernet {state}").hypotheses[0].explains + told(f"ethernet {state}").hypotheses[0].leaves
    )


def test_the_order_and_a_repetition_of_suppositions_do_not_matter() -> None:
    one = told("top-case-flex is good", "camera silent", "top-case-flex is good")
    other = told("camera silent", "top-case-flex is good")
    for each in one.parts:
        assert each.probability == pytest.approx(chance(other, each.part), rel=1e-9)


def test_a_section_or_a_device_can_be_good_while_its_board_is_not() -> None:
    then = told("keyboard is good", "touchpad is good", "top-case is bad")
    top_case = next(each for each in then.parts if each.part == "top-case")
    assert top_case.probability > 0.99
    assert not top_case.sites[0][0].id.endswith((":keyboard", ":touchpad"))


def test_it_is_about_what_is_there_after_the_last_step() -> None:
    reseated = replace(LOST, steps=(Step(kind=StepKind.RESEAT, of="top-case-flex"),))
    beliefs = supposing(HERON, (LOST, reseated), ["top-case-flex is good"])
    assert 0 < chance(suspects_of(beliefs), "top-case-flex") < 0.01
    # That it was open before, and was mended by seating it, is still possible for any one of the three.
    was_open = [n for n, c in enumerate(beliefs.courses) if beliefs.layout.sites[c.site].id == "open:top-case-flex"]
    assert sum(beliefs.marginals[n] for n in was_open if not beliefs.courses[n].lasts) > 0


SPARE = Part(id="spare-lead", kind=PartKind.SUBASSEMBLY, name="spare lead")


@pytest.mark.parametrize(
    ("suppositions", "sentence"),
    [
        (
            ["top-case-flx is good"],
            'supposition "top-case-flx is good": this unit has no part or device "top-case-flx"',
        ),
        (["mainboard working"], 'supposition "mainboard working": this unit has no device "mainboard"'),
        (["keyboard yes"], 'supposition "keyboard yes": this unit has no check "keyboard"'),
        (
            ["keyboard sings"],
            'supposition "keyboard sings": "sings" says nothing that is known here; say "PART is good',
        ),
        (["keyboard"], 'supposition "keyboard": is not a supposition; say "PART is good or bad"'),
        ([""], 'supposition "": is not a supposition'),
        (
            ["top-case-flex is good", "top-case-flex is bad"],
            'supposition "top-case-flex is bad": contradicts "top-case-flex is good"; leave one of them out.',
        ),
        (["gauge working", "gauge silent"], 'supposition "gauge silent": contradicts "gauge working"'),
        (["keys yes", "keys no"], 'supposition "keys no": contradicts "keys yes"'),
        (
            ["mainboard is good", "usb-section is bad"],
            'supposition "usb-section is bad": contradicts "mainboard is good", which covers it',
        ),
        # The keyboard is replaced with the top case; that its driver has hung is not what "bad" says.
        (
            ["top-case is good", "keyboard is bad"],
            'supposition "keyboard is bad": contradicts "top-case is good", which covers it',
        ),
        (
            ["keyboard is bad", "top-case is good"],
            'supposition "keyboard is bad": contradicts "top-case is good", which covers it',
        ),
        (
            ["display is bad", "camera is good", "panel is good", "display is good"],
            'supposition "display is good": contradicts "display is bad"',
        ),
        (["keys yes", "keyboard absent"], 'supposition "keys yes": contradicts "keyboard absent"'),
        (["ethernet is bad", "ethernet working"], 'supposition "ethernet working": contradicts "ethernet is bad"'),
        (["spare-lead is bad"], 'supposition "spare-lead is bad": the profile knows no way in which it fails'),
    ],
    ids=lambda value: " and ".join(value) if isinstance(value, list) else None,
)
def test_what_cannot_be_supposed_gets_one_clear_sentence(suppositions: list[str], sentence: str) -> None:
    profile = replace(HERON, parts=(*HERON.parts, SPARE))
    with pytest.raises(BadSupposition) as refused:
        supposing(profile, (LOST,), suppositions)
    assert str(refused.value).startswith(sentence)
    assert "\n" not in str(refused.value)
    assert isinstance(refused.value, UsbwatchError)


BEHIND_A_HUB = Look(findings=found(LARCH, absent=("keyboard",)))


@pytest.mark.parametrize("hub", ["hub absent", "hub failed", "hub is bad"])
def test_what_hangs_on_a_lost_hub_cannot_be_working(hub: str) -> None:
    with pytest.raises(BadSupposition, match=f'"touchpad working": contradicts "{hub}"'):
        supposing(LARCH, (BEHIND_A_HUB,), ["touchpad working", hub])
    supposing(LARCH, (BEHIND_A_HUB,), ["touchpad absent", hub])
    supposing(LARCH, (BEHIND_A_HUB,), ["panel working", hub])


def test_a_board_is_covered_by_all_that_it_consists_of() -> None:
    lines = Part(id="gauge-lines", kind=PartKind.SECTION, name="gauge lines", within="top-case-flex")
    unit = replace(HERON, parts=(*HERON.parts, lines))
    with pytest.raises(BadSupposition, match='contradicts "top-case-flex is good", which covers it'):
        supposing(unit, (LOST,), ["top-case-flex is good", "gauge-lines is bad"])
    supposing(unit, (LOST,), ["gauge-lines is good", "top-case-flex is bad"])


def test_suppositions_that_can_both_be_so_are_not_refused() -> None:
    # Keys that do nothing, behind electronics that answer; a torn flex that leaves some lines whole.
    supposing(HERON, (LOST,), ["keyboard is bad", "keyboard working"])
    supposing(HERON, (LOST,), ["top-case-flex is bad", "touchpad working"])
    supposing(HERON, (LOST,), ["gauge absent", "mainboard is good"])
