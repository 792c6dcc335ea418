"""The verdict on a whole unit, in one word and in one sentence."""

from __future__ import annotations

from collections import Counter
from enum import Enum

from usbwatch.model import Findings, Verdict
from usbwatch.show.words import counted

__all__ = ["Outcome", "outcome", "sentence"]


class Outcome(Enum):
    """What a check came to; ``usbwatch.cli`` gives each an exit code of its own."""

    WHOLE = "whole"
    """Every expected device is present, and no hand check failed."""
    WRONG = "wrong"
    """Something is missing, impaired, substituted or moved, or a hand check failed."""
    NOT_ALL_SEEN = "not all seen"
    """Nothing wrong was found, but something could not be seen."""


_WRONG = (Verdict.MISSING, Verdict.IMPAIRED, Verdict.SUBSTITUTED, Verdict.MOVED)


def outcome(findings: Findings) -> Outcome:
    """The one word for a unit's findings."""
    verdicts = {finding.verdict for finding in findings.findings}
    if verdicts.intersection(_WRONG) or any(not answer.yes for answer in findings.answers):
        return Outcome.WRONG
    return Outcome.NOT_ALL_SEEN if Verdict.UNSEEN in verdicts else Outcome.WHOLE


def sentence(findings: Findings) -> str:
    """The verdict as one plain sentence: "3 of 19 expected devices are missing"."""
    counts = Counter(finding.verdict for finding in findings.findings)
    total = len(findings.findings)
    hidden = sum(bool(finding.charged_to) for finding in findings.findings if finding.verdict is Verdict.UNSEEN)
    clauses = [_clause(counts[verdict], verdict.value) for verdict in _WRONG if counts[verdict]]
    failed = sum(not answer.yes for answer in findings.answers)
    unseen = counts[Verdict.UNSEEN] - hidden
    if not clauses:
        return _nothing_missing(total, unseen + hidden, failed)
    number, _, rest = clauses[0].partition(" ")
    hides = f", hiding {hidden} more" if hidden else ""
    said = [f"{number} of {counted(total, 'expected device')} {rest}{hides}", *clauses[1:]]
    said += [f"{unseen} unseen"] if unseen else []
    said += [f"{counted(failed, 'hand check')} failed"] if failed else []
    return "; ".join(said)


def _clause(count: int, word: str) -> str:
    return f"{count} {'is' if count == 1 else 'are'} {word}"


def _nothing_missing(total: int, unseen: int, failed: int) -> str:
    if failed:
        seen = f"{total - unseen} of {total}" if unseen else f"all {total}"
        return f"{counted(failed, 'hand check')} failed, though {seen} expected devices are present"
    if unseen:
        return f"nothing wrong found, {unseen} of {counted(total, 'expected device')} unseen"
    return f"whole: all {total} expected devices are present"
