"""The fewest faults that explain everything; the published hitting sets are in ``tests/published``."""

from __future__ import annotations

from itertools import chain, combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.small_units import units
from support.wired import HERON, found

from usbwatch.localise import believe, suspects_of
from usbwatch.localise.arguments import accounts_for
from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.hitting_sets import minimal_hitting_sets, smallest_explanations
from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.model import Findings, Look, Profile, Step, StepKind


def explanations(beliefs: Beliefs, most: int = 3) -> list[set[str]]:
    return [{site.id for site in each} for each in smallest_explanations(beliefs, most)]


def after_one_look(profile: Profile, findings: Findings) -> Beliefs:
    return believe(profile, (Look(findings=findings),))


def test_what_shares_a_flex_is_explained_by_the_flex() -> None:
    seen = explanations(after_one_look(HERON, found(HERON, absent=("keyboard", "touchpad", "gauge"))))
    assert {"open:top-case-flex"} in seen
    assert {len(each) for each in seen} == {1}
    assert {"dead:keyboard"} not in seen


def test_two_things_that_share_nothing_take_two_faults() -> None:
    seen = explanations(after_one_look(HERON, found(HERON, absent=("panel", "ethernet"))))
    assert {"dead:panel", "dead:ethernet"} in seen
    assert {"open:display-cable", "dead:ethernet"} in seen
    assert {len(each) for each in seen} == {2}


def test_the_likeliest_comes_first() -> None:
    beliefs = after_one_look(HERON, found(HERON, absent=("panel", "ethernet")))
    listed = {frozenset(site.id for site in each.sites): each.probability for each in suspects_of(beliefs).hypotheses}
    ranked = [listed.get(frozenset(each), 0.0) for each in explanations(beliefs)]
    assert ranked[0] > 0.1
    assert ranked == sorted(ranked, reverse=True)


def test_the_suspects_have_them() -> None:
    beliefs = after_one_look(HERON, found(HERON, absent=("panel", "ethernet")))
    assert suspects_of(beliefs).fewest == smallest_explanations(beliefs)[:20] != ()


def test_when_nothing_is_wrong_no_fault_is_needed() -> None:
    assert explanations(after_one_look(HERON, found(HERON))) == [set()]


def test_more_faults_than_asked_for_is_no_explanation() -> None:
    beliefs = after_one_look(HERON, found(HERON, absent=("panel", "ethernet")))
    assert explanations(beliefs, most=1) == []


def test_what_a_step_has_mended_explains_nothing_any_more() -> None:
    before = found(HERON, absent=("keyboard", "touchpad"))
    after = found(HERON, absent=("keyboard",))
    step = Step(kind=StepKind.RESEAT, of="top-case-flex")
    seen = explanations(believe(HERON, (Look(findings=before), Look(findings=after, steps=(step,)))))
    assert {"dead:keyboard"} in seen


def by_definition(beliefs: Beliefs, most: int) -> set[frozenset[int]]:
    """Sites, from every set of courses of different sites of which each thing wrong is accounted for by a member."""
    wrong = [each for each in beliefs.current if each.wrong]
    sites, courses = beliefs.layout.sites, beliefs.courses
    known = [number for number, course in enumerate(courses) if sites[course.site].part != UNKNOWN_PART]
    tried = chain.from_iterable(combinations(known, size) for size in range(most + 1))
    whole = [
        frozenset(courses[number].site for number in each)
        for each in tried
        if all(any(accounts_for((number,), seen, beliefs) for number in each) for seen in wrong)
        and all(accounts_for(each, seen, beliefs) for seen in wrong)
    ]
    fewest = min(map(len, whole), default=0)
    return {each for each in whole if len(each) == fewest}


@pytest.mark.properties
@given(unit=units())
def test_they_are_what_the_definition_says(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    beliefs = after_one_look(profile, findings)
    number = {site.id: place for place, site in enumerate(beliefs.layout.sites)}
    ours = {frozenset(number[id_] for id_ in each) for each in explanations(beliefs, most=2)}
    assert ours == by_definition(beliefs, most=2)


families = st.lists(st.sets(st.integers(0, 8), max_size=5), max_size=7)


@pytest.mark.properties
@given(family=families)
def test_every_hitting_set_is_there_and_none_can_do_without_a_member(family: list[set[int]]) -> None:
    every = [frozenset(each) for size in range(10) for each in combinations(range(9), size)]
    hitting = [each for each in every if all(each & wanted for wanted in family)]
    smallest = [each for each in hitting if not any(other < each for other in hitting)]
    assert list(minimal_hitting_sets(family)) == smallest


@pytest.mark.properties
@given(family=families)
def test_the_order_of_the_family_does_not_matter(family: list[set[int]]) -> None:
    assert minimal_hitting_sets(family) == minimal_hitting_sets(family[::-1])
