"""What to do next, what a person has established, and the cautions that go with work on the unit."""

from __future__ import annotations

import re
from collections.abc import Container, Mapping

from usbwatch.model import Advice, Answer, HandCheck, Proposal
from usbwatch.plan import questions
from usbwatch.plan.cautions import BATTERY_FIRST
from usbwatch.show.checked import Checked
from usbwatch.show.contradictions_view import ask_again
from usbwatch.show.localised import Localised
from usbwatch.show.plan_view import watches_again
from usbwatch.show.report.value import Hand, NextStep
from usbwatch.show.safe import safe
from usbwatch.show.verdict import Outcome, outcome
from usbwatch.show.worth_view import repair_or_stop, takes

__all__ = ["cautions_of", "hands", "next_step", "open_checks"]

_FOLLOW = (
    "Follow the maker's service procedure, and local rules for lithium cells and waste. Work on mains adapters and "
    "backlight supplies is for those licensed for it."
)


def next_step(checked: Checked, *, money: bool) -> NextStep | None:
    """What a check says first, in the same order; None where there is nothing to do, or a danger comes first."""
    plan = checked.plan
    if checked.pending:
        return NextStep(words="Capture the unit again: what was done since its last capture is not seen yet")
    again = ask_again(checked.findings, checked.profile)
    if again and plan.advice in (Advice.GO_ON, Advice.STOP):
        return NextStep(words=again)
    if repair_or_stop(checked) and checked.repair is not None:
        words = f"{safe(checked.repair.words, 200)}, or stop: whether a repair pays is a close call"
        return NextStep(words=words, cautions=tuple(safe(text) for text in checked.repair.cautions))
    if plan.advice is Advice.STOP:
        return NextStep(words="Stop here: no step is expected to pay", why=_close_call(checked))
    if not (plan.advice is Advice.GO_ON or watches_again(checked)) or not plan.proposals:
        return None
    first = plan.proposals[0]
    return NextStep(
        words=safe(first.words, 300),
        takes=takes(first, checked.profile) if money else f"{first.minutes} min" if first.minutes else "",
        why=" ".join(filter(None, [_why(first, money=money), _close_call(checked)])),
        cautions=tuple(safe(text) for text in first.cautions),
    )


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
    said = _STILL_TO_SPEND.sub("", said)
    return " ".join(sentence for sentence in _sentences(said) if not _OF_MONEY.search(sentence))


_STILL_TO_SPEND = re.compile(r",? and about [\d.,]+ is then still to be spent")
_OF_MONEY = re.compile(r"\b(spent|spend|costs?|loss|loses?|pays?)\b")


def _sentences(text: str) -> list[str]:
    return [f"{one.strip().rstrip('.')}." for one in text.split(". ") if one.strip()]


def hands(localised: Localised) -> tuple[Hand, ...]:
    """All answers, the latest to each question; of a unit in which nothing is wrong also what is still to be asked."""
    checked = localised.checked
    known = questions(checked.profile)
    given = {answer.check: answer for seen in localised.seen for answer in seen.answers}
    told = [Hand(question=_question(one, known), answer=one.yes) for one in given.values()]
    still = [Hand(question=safe(one.question, 300), answer=None) for one in open_checks(checked, given)]
    return (*told, *still)


def _question(answer: Answer, known: Mapping[str, str]) -> str:
    asked = safe(known.get(answer.check, answer.check), 300)
    return f"{asked} (tried twice)" if answer.again and not answer.yes else asked


def open_checks(checked: Checked, given: Container[str]) -> list[HandCheck]:
    """The hand checks that nobody has answered; none where something is wrong, for then the next step asks."""
    if outcome(checked.findings) is Outcome.WRONG:
        return []
    variant = next((one for one in checked.profile.variants if one.id == checked.findings.variant), None)
    absent = variant.without if variant else ()
    return [one for one in checked.profile.checks if one.id not in given and one.id not in absent]


def cautions_of(checked: Checked) -> tuple[str, ...]:
    """What holds for all work on the unit, then what the first proposals ask for, each once."""
    told = [caution for proposal in checked.plan.proposals[:3] for caution in proposal.cautions]
    return tuple(dict.fromkeys([BATTERY_FIRST, *(safe(one) for one in told), _FOLLOW]))
