"""How what came of a proposal is told to usbwatch."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.model import Action, Proposal
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe

__all__ = ["record_lines"]

_SET_IN = 8

_ANSWERED = "to record it, add to the command:"
_DONE = "to record it, capture again, and give usbwatch localise both captures and:"
_BOTH = "to record it, add to the command (after a step, capture again and give usbwatch localise both captures):"


def record_lines(shown: Sequence[Proposal]) -> list[Line]:
    """What is to be typed for each of the proposals, by their numbers; nothing when nothing can be."""
    told = [(number, one, said) for number, one in enumerate(shown, 1) if (said := _option(one))]
    if not told:
        return []
    answers = [one.action in (Action.CHECK, Action.MEASURE, Action.ELSEWHERE) for _, one, _ in told]
    title = _ANSWERED if all(answers) else _BOTH if any(answers) else _DONE
    return [
        BLANK,
        line(" " * _SET_IN, (title, Style.FAINT), hang=_SET_IN),
        *(line(" " * _SET_IN, f"{number:>2}  {said}", hang=_SET_IN + 4) for number, _, said in told),
    ]


def _option(proposal: Proposal) -> str:
    of = safe(proposal.of, 60)
    if proposal.action is Action.CHECK:
        return f"--answer {of}=yes|no"
    if proposal.action in (Action.MEASURE, Action.ELSEWHERE):
        return f"--answer {proposal.action.value}:{of}=yes|no"
    if proposal.action in (Action.LOOK, Action.HELPER, Action.REPEAT):
        return ""
    return f"--did {proposal.action.value}:{of}".rstrip(":")
