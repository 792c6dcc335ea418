"""Whether the repair pays: what it is expected to cost, what stopping loses, the best repair beside it."""

from __future__ import annotations

from usbwatch.model import Advice, Plan, Profile, Proposal
from usbwatch.model.plan import CLOSE_CALL, QUESTIONS
from usbwatch.show.checked import Checked
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.words import price, sum_of

__all__ = ["money_lines", "points_to_nothing", "repair_or_stop", "takes"]

_SET_IN = 8


def takes(proposal: Proposal, profile: Profile) -> str:
    """Money and time of a proposal itself."""
    return f"{price(proposal.cost, profile.money)}, {proposal.minutes} min"


def money_lines(checked: Checked) -> list[Line]:
    """What the figures come to; where they are for stopping, or cannot decide, the best repair with its own."""
    plan, profile = checked.plan, checked.profile
    if points_to_nothing(checked):
        return [BLANK, line(" " * _SET_IN, (_TO_NOTHING, Style.CAUTION), hang=_SET_IN)]
    said = _money_sentence(plan, profile)
    style = Style.CAUTION if plan.advice in (Advice.STOP, Advice.DANGER) else Style.PLAIN
    lines = [BLANK, line(" " * _SET_IN, (said, style), hang=_SET_IN)] if said else []
    if checked.repair is None or plan.advice not in (Advice.GO_ON, Advice.STOP):
        return lines
    what = f"{safe(checked.repair.words, 160)} ({takes(checked.repair, profile)})"
    return [*lines, line(" " * _SET_IN, f"The best repair: {what}; {_to_the_end(checked)}.", hang=_SET_IN)]


_TO_NOTHING = (
    "Nothing that was found points to a part, so no step is worth its cost. Establish it in another way, or look"
    " closer, before a part is bought or the unit given up."
)


def points_to_nothing(checked: Checked) -> bool:
    """Whether no step pays because what was found is likelier a mistake, or outside the profile, than any part."""
    return checked.plan.advice is Advice.STOP and not checked.points_to_a_part


def repair_or_stop(checked: Checked) -> str:
    """The choice itself, as the headline of a close call in which no question would change anything; "" elsewhere."""
    plan, repair = checked.plan, checked.repair
    if repair is None or not plan.close_call or points_to_nothing(checked):
        return ""
    if plan.advice is Advice.GO_ON and not (plan.proposals and _decides_nothing(plan.proposals[0])):
        return ""
    if plan.given_up is not None and abs(repair.expected_total - plan.given_up) > CLOSE_CALL * plan.given_up:
        return ""  # what is close to stopping is something else than a repair
    words = safe(repair.words, 160)
    return f"Close call: {words[:1].lower()}{words[1:]} ({_to_the_end(checked)}), or stop"


def _decides_nothing(first: Proposal) -> bool:
    return first.action in QUESTIONS and first.decides_nothing


def _to_the_end(checked: Checked) -> str:
    assert checked.repair is not None
    money, given_up = checked.profile.money, checked.plan.given_up
    stopping = "" if given_up is None else f"; stopping loses {sum_of(given_up, money)}"
    return f"would cost {sum_of(checked.repair.expected_total, money)} to the end{stopping}"


def _money_sentence(plan: Plan, profile: Profile) -> str:
    loses = "" if plan.given_up is None else sum_of(plan.given_up, profile.money)
    if plan.advice is Advice.DANGER:
        return (
            "First what stands above under STOP: nothing else is proposed until that is settled. It is once its"
            " question is answered with yes, or the part is replaced and that is recorded."
        )
    if plan.advice is Advice.STOP:
        why = f": stopping here loses {loses}, and going on is expected to cost no less" if loses else ""
        return f"No step is expected to pay{why}. Sell the unit as it is, or for parts.{_close(plan, profile)}"
    if plan.advice is Advice.NOTHING_WRONG or plan.expected_cost is None:
        return ""
    stopping = f"; stopping here loses {loses}" if loses else ""
    return f"Expected to cost {sum_of(plan.expected_cost, profile.money)} to the end{stopping}.{_close(plan, profile)}"


def _close(plan: Plan, profile: Profile) -> str:
    """That the figures do not decide between going on and stopping, with what going on would cost; "" where they do."""
    if not plan.close_call or plan.expected_cost is None:
        return ""
    cost = f" (going on: {sum_of(plan.expected_cost, profile.money)})" if plan.advice is Advice.STOP else ""
    return f" A close call{cost}: the figures behind both are estimates, and cannot tell them apart. Decide yourself."
