"""What to do next, what a person has established, and the cautions that go with work on the unit."""

from __future__ import annotations

from usbwatch.model import Advice, Proposal
from usbwatch.plan import questions
from usbwatch.plan.cautions import BATTERY_FIRST
from usbwatch.show.checked import Checked
from usbwatch.show.localised import Localised
from usbwatch.show.plan_view import do_next
from usbwatch.show.report.value import Hand, NextStep
from usbwatch.show.safe import safe
from usbwatch.show.worth_view import takes

__all__ = ["cautions_of", "hands", "next_step"]

_FOLLOW = (
    "Follow the maker's service procedure, and local rules for lithium cells and waste. Work on mains adapters and "
    "backlight supplies is for those licensed for it."
)


def next_step(checked: Checked, *, money: bool) -> NextStep | None:
    """The first proposal; that it is best to stop; or None where there is nothing to do."""
    plan = checked.plan
    said = do_next(checked)
    if checked.pending:
        return NextStep(words="Capture the unit again: what was done since its last capture is not seen yet")
    if plan.advice is Advice.GO_ON and plan.proposals and said.startswith("Do next: "):
        first = plan.proposals[0]
        return NextStep(
            words=safe(first.words, 300),
            takes=takes(first, checked.profile) if money else f"{first.minutes} min" if first.minutes else "",
            why=" ".join(filter(None, [_why(first, money=money), _close_call(checked)])),
            cautions=tuple(safe(text) for text in first.cautions),
        )
    return NextStep(words=said.removeprefix("Do next: ")) if said and (money or "cost" not in said) else None


def _close_call(checked: Checked) -> str:
    """Where going on and stopping cost nearly the same: that it is so, and what the best repair would be."""
    if not checked.plan.close_call:
        return ""
    best = f" The best repair would be: {safe(checked.repair.words, 200)}." if checked.repair is not None else ""
    return f"Whether a repair pays is a close call by the figures known.{best}"


def _why(proposal: Proposal, *, money: bool) -> str:
    """Its sentences, less those that speak of money where that is not to be told."""
    said = safe(proposal.why, 600)
    if money:
        return said
    return " ".join(sentence for sentence in _sentences(said) if not any(word in sentence for word in _OF_MONEY))


_OF_MONEY = ("spent", "cost", "loss", "lose", "pays")


def _sentences(text: str) -> list[str]:
    return [f"{one.strip().rstrip('.')}." for one in text.split(". ") if one.strip()]


def hands(localised: Localised) -> tuple[Hand, ...]:
    """All answers, the latest to each question, in the order in which they were first given."""
    known = questions(localised.checked.profile)
    given: dict[str, bool] = {}
    for seen in localised.seen:
        given |= {answer.check: answer.yes for answer in seen.answers}
    return tuple(Hand(question=safe(known.get(check, check), 300), answer=yes) for check, yes in given.items())


def cautions_of(checked: Checked) -> tuple[str, ...]:
    """What holds for all work on the unit, then what the first proposals ask for, each once."""
    told = [caution for proposal in checked.plan.proposals[:3] for caution in proposal.cautions]
    return tuple(dict.fromkeys([BATTERY_FIRST, *(safe(one) for one in told), _FOLLOW]))
