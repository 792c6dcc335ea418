"""How what came of a proposal is told to usbwatch."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.model import Action, Proposal
from usbwatch.safe import typed
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe

__all__ = ["check_command", "record_lines", "unit_command"]

_SET_IN = 8

_ANSWERED = "to record it, add to the command:"
_DONE = "to record it, capture again, and give usbwatch localise both captures and:"
_OF_UNIT = "to record it:"
_OF_UNIT_DONE = "to record it (after a step capture again: usbwatch unit capture):"
_BOTH = "to record it, add to the command (after a step, capture again and give usbwatch localise both captures):"

_ANSWERS = (Action.CHECK, Action.MEASURE, Action.ELSEWHERE)


def record_lines(shown: Sequence[Proposal], label: str = "") -> list[Line]:
    """What is to be typed for each of the proposals, by their numbers; nothing when nothing can be.

    ``label`` is of the unit of the casebook, "" where captures were given by themselves.
    """
    told = [(number, one, said) for number, one in enumerate(shown, 1) if (said := _typed(one, label))]
    if not told:
        return []
    answers = [one.action in _ANSWERS for _, one, _ in told]
    title = _ANSWERED if all(answers) else _BOTH if any(answers) else _DONE
    if label:
        title = _OF_UNIT if all(answers) else _OF_UNIT_DONE
    return [
        BLANK,
        line(" " * _SET_IN, (title, Style.FAINT), hang=_SET_IN),
        *(line(" " * _SET_IN, f"{number:>2}  {said}", hang=_SET_IN + 4) for number, _, said in told),
    ]


def check_command(label: str) -> str:
    """The command that checks a unit of the casebook, as it is typed."""
    return f"usbwatch check {typed(label)}"


def unit_command(verb: str, label: str) -> str:
    """A command about a unit, up to its label, as it is typed.

    >>> unit_command("answer", "LB 7")
    "usbwatch unit answer 'LB 7'"
    """
    return f"usbwatch unit {verb} {typed(label)}"


def _typed(proposal: Proposal, label: str) -> str:
    option = _option(proposal)
    if not label or not option:
        return option
    verb = "answer" if proposal.action in _ANSWERS else "step"
    return f"{unit_command(verb, label)} {option.partition(' ')[2]}"


def _option(proposal: Proposal) -> str:
    of = safe(proposal.of, 60)
    if proposal.action is Action.CHECK:
        return f"--answer {of}=yes|no"
    if proposal.action in (Action.MEASURE, Action.ELSEWHERE):
        return f"--answer {proposal.action.value}:{of}=yes|no"
    if proposal.action in (Action.LOOK, Action.HELPER, Action.REPEAT):
        return ""
    return f"--did {proposal.action.value}:{of}".rstrip(":")
