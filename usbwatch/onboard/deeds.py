"""What each key does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from usbwatch.onboard import foot
from usbwatch.onboard.asking import chosen_of, key_of, read_through, shown_until_key, typed_line
from usbwatch.onboard.choice_page import Choice
from usbwatch.onboard.on_unit import on_unit
from usbwatch.onboard.running import Off, Run

if TYPE_CHECKING:
    from usbwatch.model import Proposal, Step
    from usbwatch.show import Checked
    from usbwatch.show.lines import Line

__all__ = ["done"]


_CONFIRM_S = 20.0
"""A key that pressed by itself must not keep the answer away for long."""


def done(run: Run, key: str) -> None:
    """Do what a key asks for; nothing where it asks for nothing, or for what needs an answer before there is one."""
    deed = _DEEDS.get(key)
    if deed is None:
        return
    if run.case.localised is None and key not in (foot.CAPTURE, foot.OFF):
        return
    deed(run)


def _off(run: Run) -> None:
    kept = run.keeping.saver.kept()
    warning = "" if kept.well else "The answer is not saved: it is lost when the unit is switched off."
    choice = Choice(title="Switch the unit off?", items=(("y", "yes, power off"),), warning=warning)
    if key_of(choice, run.terminals, _CONFIRM_S) == "y":
        raise Off


def _details(run: Run) -> None:
    from usbwatch.onboard.details import details_lines

    assert run.case.localised is not None
    localised, money = run.case.localised, run.money
    read_through(lambda width: details_lines(localised, width, money=money), run.terminals)


def _profile(run: Run) -> None:
    """Pick the profile by which the unit is judged."""
    from usbwatch import profile as profiles
    from usbwatch.safe import safe

    known = profiles.library().profiles
    words = [f"{safe(one.name, 80)} ({safe(one.id, 60)})" for one in known]
    assert run.case.localised is not None
    now = safe(run.case.localised.checked.profile.id, 60)
    at = chosen_of(f"Judge by which profile? Now: {now}", words, run.terminals, none="choose by what firmware calls it")
    if at is None:
        return
    run.case = replace(run.case, picked="" if at == -1 else known[at].id)
    run.judge()
    run.keeping.save_notes()


def _label(run: Run) -> None:
    """The shop's own number for the unit, held to what the casebook takes."""
    from usbwatch.casebook.rules import checked_label
    from usbwatch.errors import Refused

    below = ["The shop's own number for this unit: it goes into the casebook with the captures."]
    text = run.case.label
    while True:
        typed = typed_line("Label of this unit", below, run.terminals, text)
        if typed is None or not typed.strip():
            return
        try:
            run.case = replace(run.case, label=checked_label(typed))
        except Refused as error:
            below, text = [str(error)], typed
            continue
        run.keeping.save_notes()
        return


def _capture(run: Run) -> None:
    """Another look, after what was done to the unit; of an earlier start too, where this stick has its look."""
    if run.case.localised is None:
        run.look()
    elif run.earlier:
        _after_earlier(run)
    else:
        _after_step(run)


def _after_step(run: Run) -> None:
    assert run.case.localised is not None
    steps = _steps(run.case.localised.checked)
    at = chosen_of(
        "Which step was done? The unit is then captured again.",
        [words for words, _ in steps],
        run.terminals,
        none="none of these: nothing was done",
    )
    if at is not None:
        run.look([] if at == -1 else [steps[at][1]])


def _after_earlier(run: Run) -> None:
    """What was done between the look of an earlier start and that of this one: both are then weighed together."""
    from usbwatch.onboard.judging import Case, judged_case

    before = Case(
        seen=tuple(one.seen for one in run.earlier),
        names=tuple(one.name for one in run.earlier),
        picked=run.case.picked,
    )
    judged = judged_case(before, None)
    assert judged.localised is not None
    steps = _steps(judged.localised.checked)
    when = run.earlier[-1].seen.when or "the earlier capture"
    at = chosen_of(
        f"What was done to the unit since {when}?",
        [words for words, _ in steps],
        run.terminals,
        none="none of these: nothing was done",
    )
    if at is None:
        return
    first = replace(run.case.seen[0], steps=() if at == -1 else (steps[at][1],))
    run.case = replace(
        run.case,
        seen=(*before.seen, first, *run.case.seen[1:]),
        names=(*before.names, *run.case.names),
    )
    run.earlier = ()
    run.judge()
    run.keeping.save_notes()


def _steps(checked: Checked) -> list[tuple[str, Step]]:
    """What can have been done, in words and as a step: what the plan proposes first, then all that is common."""
    from usbwatch.model import PartKind, Step, StepKind
    from usbwatch.show.words import step_words

    kinds = {one.value: one for one in StepKind}
    planned = [one for one in checked.plan.proposals if one.action.value in kinds]
    proposed = [Step(kind=kinds[one.action.value], of=one.of) for one in planned]
    links = [part.id for part in checked.profile.parts if part.kind is PartKind.LINK]
    whole = [part.id for part in checked.profile.parts if part.kind is PartKind.SUBASSEMBLY]
    common = [
        *(Step(kind=StepKind.RESEAT, of=link) for link in links),
        Step(kind=StepKind.DRAIN, of=""),
        *(Step(kind=StepKind.SWAP, of=part) for part in (*whole, *links)),
    ]
    return [(step_words(step, checked.profile), step) for step in dict.fromkeys([*proposed, *common])]


def _answer(run: Run) -> None:
    """Answer a question of the plan, or a hand check of the profile, with yes or no."""
    from usbwatch.model.findings import with_answer
    from usbwatch.plan import questions

    assert run.case.localised is not None
    checked = run.case.localised.checked
    known = {one: on_unit(words) for one, words in questions(checked.profile).items()}
    first = [_asked_by(one) for one in checked.plan.proposals]
    ids = list(
        dict.fromkeys([*(one for one in first if one in known), *(check.id for check in checked.profile.checks)])
    )
    if not ids:
        shown_until_key(_said("This profile has no question that a person could answer."), run.terminals)
        return
    at = chosen_of("Answer which question?", [known[one] for one in ids], run.terminals)
    if at is None:
        return
    caution = next((check.caution for check in checked.profile.checks if check.id == ids[at]), "")
    choice = Choice(title=known[ids[at]], items=(("y", "yes"), ("n", "no")), warning=caution)
    key = key_of(choice, run.terminals)
    if not key:
        return
    last = run.case.seen[-1]
    last = replace(last, answers=with_answer(last.answers, ids[at], yes=key == "y"))
    run.case = replace(run.case, seen=(*run.case.seen[:-1], last))
    run.judge()
    run.keeping.save_notes()


def _asked_by(proposal: Proposal) -> str:
    """The id of the question that a proposal asks."""
    from usbwatch.model import Action

    if proposal.action is Action.CHECK:
        return proposal.of
    return f"{proposal.action.value}:{proposal.of}"


def _said(text: str) -> list[Line]:
    from usbwatch.show.lines import line

    return [line(text, hang=2)]


def _handcheck(run: Run) -> None:
    from usbwatch.onboard.hand_checks import hand_checked

    if _is_live(run):
        hand_checked(run)


def _watch(run: Run) -> None:
    from usbwatch.onboard.watching import watched_live

    if _is_live(run):
        watched_live(run)


def _is_live(run: Run) -> bool:
    if run.asked.root is None:
        return True
    shown_until_key(_said("A copied tree does not change: that needs the unit itself."), run.terminals)
    return False


_DEEDS: dict[str, Callable[[Run], None]] = {
    foot.ANSWER: _answer,
    foot.CAPTURE: _capture,
    foot.DETAILS: _details,
    foot.HANDCHECK: _handcheck,
    foot.LABEL: _label,
    foot.OFF: _off,
    foot.PROFILE: _profile,
    foot.WATCH: _watch,
}
