"""What to do next: the proposals in their order, what each can bring, and whether the repair pays."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from usbwatch.model import Action, Advice, Outcome, Plan, Profile, Proposal
from usbwatch.model.plan import QUESTIONS
from usbwatch.show.checked import Checked
from usbwatch.show.contradictions_view import ask_again
from usbwatch.show.lines import BLANK, Line, Style, line, spread
from usbwatch.show.recording import record_lines
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, labelled
from usbwatch.show.words import in_a_hundred, part_name, percent, sum_of
from usbwatch.show.worth_view import money_lines, points_to_nothing, repair_or_stop, takes

__all__ = ["caution_lines", "do_next", "every_step_lines", "next_lines", "short_step_lines", "watches_again"]

_SHOWN = 3
"""Proposals that are shown in full; ``usbwatch localise`` names them all."""

_FOLLOWING = 4
"""Proposals after these that the short page names."""

_SAID = 2
"""Figures put in that the page of a check tells in full: the first, and the last, which is about the unit's worth."""

_SET_IN = 8
_LABEL = 6
"""Columns of the number before a proposal, and of the label before a line below it."""

_UNKNOWN = "?"
_NEVER = 0.005


def do_next(checked: Checked) -> str:
    """The first proposal in one line, or that none pays; "" when there is nothing to do, or a danger comes first."""
    plan = checked.plan
    if checked.pending:
        return "Do next: capture the unit again; what was done since its last capture is not seen yet"
    again = ask_again(checked.findings, checked.profile)
    if again and plan.advice in (Advice.GO_ON, Advice.STOP):
        return f"Do next: {again[:1].lower()}{again[1:]}"
    if choice := repair_or_stop(checked):
        return choice
    if plan.advice is Advice.STOP:
        return _stop_here(checked)
    if not (plan.advice is Advice.GO_ON or watches_again(checked)) or not plan.proposals:
        return ""
    first = plan.proposals[0]
    close = "; whether going on pays is a close call" if plan.close_call else ""
    return f"Do next: {safe(first.words, 160)} ({takes(first, checked.profile)}){close}"


def _stop_here(checked: Checked) -> str:
    if points_to_nothing(checked):
        return "Do next: establish in another way what was found wrong; nothing points to a part"
    return "Stop here: no step is expected to pay" + (", but it is a close call" if checked.plan.close_call else "")


def watches_again(checked: Checked) -> bool:
    """Whether the first proposal is to prove what came and went before, so that it is due though nothing is wrong."""
    unproven = any(finding.came_and_went for finding in checked.findings.findings)
    return unproven and checked.plan.advice is Advice.NOTHING_WRONG


def next_lines(checked: Checked, width: int) -> list[Line]:
    """The section "what to do next" of a check: the first proposals; nothing when nothing is proposed."""
    plan, profile = checked.plan, checked.profile
    if not _says_something(plan):
        return []
    shown = plan.proposals[:_SHOWN]
    return [
        *heading(_TITLES.get(plan.advice, "What to do next")),
        *_first_of_all(checked),
        *money_lines(checked),
        *_proposal_lines(plan, profile, width, in_full=False),
        *record_lines(shown, checked.label),
        *_assumed_lines(plan.assumed, _SAID),
    ]


def every_step_lines(checked: Checked, width: int) -> list[Line]:
    """The same section with every outcome of the first proposals, and the others in their order."""
    plan, profile = checked.plan, checked.profile
    if not _says_something(plan):
        return []
    shown = plan.proposals[:_SHOWN]
    return [
        *heading(_TITLES.get(plan.advice, "What to do next")),
        *_first_of_all(checked),
        *money_lines(checked),
        *_proposal_lines(plan, profile, width, in_full=True),
        *record_lines(shown, checked.label),
        *_after_these(plan, profile),
        *_assumed_lines(plan.assumed, len(plan.assumed)),
    ]


def short_step_lines(checked: Checked, width: int) -> list[Line]:
    """The first proposals as a check has them, and those that follow, up to a few."""
    plan, profile = checked.plan, checked.profile
    if not _says_something(plan):
        return []
    shown = plan.proposals[:_SHOWN]
    return [
        *heading(_TITLES.get(plan.advice, "What to do next")),
        *_first_of_all(checked),
        *money_lines(checked),
        *_proposal_lines(plan, profile, width, in_full=False),
        *record_lines(shown, checked.label),
        *_after_these(plan, profile, _FOLLOWING),
        *_assumed_lines(plan.assumed, _SAID),
    ]


_TITLES = {Advice.NOTHING_WRONG: "Before it is closed"}


def _says_something(plan: Plan) -> bool:
    if plan.advice is Advice.NOTHING_WRONG:
        return bool(plan.proposals)
    return plan.advice is not Advice.OTHER_MODEL


def _first_of_all(checked: Checked) -> list[Line]:
    """What comes before every step below: a contradiction is settled."""
    again = ask_again(checked.findings, checked.profile)
    said = f"First: {again[:1].lower()}{again[1:].partition(':')[0]}. What follows rests on the contradiction."
    return [BLANK, line(" " * _SET_IN, (said, Style.CAUTION), hang=_SET_IN)] if again else []


def _proposal_lines(plan: Plan, profile: Profile, width: int, *, in_full: bool) -> list[Line]:
    """The first proposals with what they would come to, each caution once."""
    shown, well_now = plan.proposals[:_SHOWN], plan.advice is Advice.NOTHING_WRONG
    warned: set[str] = set()
    lines: list[Line] = []
    for number, proposal in enumerate(shown, 1):
        left = line(f"{number:>6}", "  ", (safe(proposal.words, 200), Style.STRONG), hang=_SET_IN)
        lines += [BLANK, *spread(left, takes(proposal, profile), width, Style.FAINT)]
        if in_full or (number == 1 and proposal.action in QUESTIONS):
            lines += _outcome_lines(proposal, profile)
        else:
            lines += _short_lines(proposal, profile, first=number == 1, well_now=well_now)
        lines += caution_lines(proposal.cautions, warned)
    return lines


def _short_lines(proposal: Proposal, profile: Profile, *, first: bool, well_now: bool) -> list[Line]:
    """What each answer would point to; of a step, what it comes to, and of the first one why it is that."""
    if proposal.action in QUESTIONS:
        told = [
            (safe(one.words, 60), _stop_of(one, proposal, profile) or _points(one, profile))
            for one in _in_order(proposal)
        ]
    elif first and proposal.why:
        told = [("why", safe(proposal.why, 600))]
    else:
        told = [("then", _in_one_line(proposal, profile, well_now=well_now))]
    return [one for label, said in told for one in labelled(label, [said], _SET_IN, column=_LABEL)]


def _outcome_lines(proposal: Proposal, profile: Profile) -> list[Line]:
    """Every outcome with its probability, what it would point to, and what would then still be spent."""
    lines: list[Line] = []
    for one in _in_order(proposal):
        means = _stop_of(one, proposal, profile) or f"{_points(one, profile)}{_then(one, profile)}"
        said = f"{safe(one.words, 160)}: {means}"
        lines += labelled(f"{percent(one.probability):>4}", [said], _SET_IN, column=_LABEL)
    return lines


def _in_order(proposal: Proposal) -> list[Outcome]:
    """Yes before no, else the likeliest first."""
    if proposal.action in QUESTIONS:
        return sorted(proposal.outcomes, key=lambda one: one.words != "yes")
    return sorted(proposal.outcomes, key=lambda one: -one.probability)


def _stop_of(one: Outcome, proposal: Proposal, profile: Profile) -> str:
    """What is to be done at once on this answer, "" where it is no danger."""
    if one.words != "no":
        return ""
    stop = next((check.stop for check in profile.checks if check.id == proposal.of), "")
    return f"STOP. {safe(stop, 200)}" if stop else ""


def _points(one: Outcome, profile: Profile) -> str:
    if one.was_a_mistake:
        return f"what was found wrong was a mistake, or is outside the profile ({percent(one.chance)})"
    if one.mended:
        return "it is mended"
    if one.points_to == _UNKNOWN:
        return f"points to nothing that the profile knows ({percent(one.chance)})"
    return f"points to {part_name(one.points_to, profile)} ({percent(one.chance)})"


def _then(one: Outcome, profile: Profile) -> str:
    if one.was_a_mistake:
        return ""
    if one.stops:
        return "; then stop"
    return "" if one.mended else f"; then expected to cost {sum_of(one.expected_cost, profile.money)}"


def _in_one_line(proposal: Proposal, profile: Profile, *, well_now: bool) -> str:
    mended = sum(one.probability - one.slip for one in proposal.outcomes if one.mended)
    others = [one for one in proposal.outcomes if not one.mended]
    other = max(others, key=lambda one: one.probability, default=None)
    mends = _mends(proposal, mended, well_now=well_now)
    return f"{mends}; else {_points(other, profile)}" if other else mends


def _mends(proposal: Proposal, mended: float, *, well_now: bool) -> str:
    """How often all is well afterwards: mended by a step; by a mere look, only found to come and go, or to stay."""
    often = mended >= _NEVER
    if proposal.action in (Action.FLEX, Action.REPEAT):
        if well_now:
            return f"all stays well in {in_a_hundred(mended)}" if often else "hardly ever stays all of it well"
        return f"well by itself in {in_a_hundred(mended)}" if often else "hardly ever all well by itself"
    return f"mends it in {in_a_hundred(mended)}" if often else "hardly ever mends all of it"


def caution_lines(texts: Iterable[str], warned: set[str]) -> list[Line]:
    """The cautions that were not yet given, each as a line; ``warned`` remembers them."""
    new = [text for text in dict.fromkeys(texts) if text and text not in warned]
    warned.update(new)
    return [line(" " * _SET_IN, ("! ", Style.CAUTION), (safe(text), Style.CAUTION), hang=_SET_IN + 2) for text in new]


def _after_these(plan: Plan, profile: Profile, most: int | None = None) -> list[Line]:
    """The other proposals, each with what is expected to be spent to the end when it is done next."""
    rest = plan.proposals[_SHOWN:]
    if not rest:
        return []
    left = len(rest) - len(rest[:most])
    title = "in this order after these; before each what it would cost to the end"
    return [
        BLANK,
        line(" " * _SET_IN, (title, Style.FAINT), hang=_SET_IN),
        *(_one_of_the_rest(number, one, profile) for number, one in enumerate(rest[:most], _SHOWN + 1)),
        *([line(" " * _SET_IN, f"and {left} more", hang=_SET_IN)] if left > 0 else []),
    ]


def _one_of_the_rest(number: int, one: Proposal, profile: Profile) -> Line:
    total = f"{sum_of(one.expected_total, profile.money):>6}  "
    takes_it = (f" ({takes(one, profile)})", Style.FAINT)
    return line(f"{number:>6}", "  ", total, safe(one.words, 200), takes_it, hang=_SET_IN + len(total))


def _assumed_lines(assumed: Sequence[str], shown: int) -> list[Line]:
    """The figures that were put in where the profile gives none."""
    if not assumed:
        return []
    left = len(assumed) - shown
    told = [*assumed[: shown - 1], f"{left} more figures were put in.", assumed[-1]] if left > 0 else assumed
    said = " ".join(safe(one) for one in told)
    return [BLANK, line(" " * _SET_IN, (said, Style.FAINT), hang=_SET_IN)]
