"""The verdict on a whole unit, in one word and in one sentence."""

from __future__ import annotations

from collections import Counter
from enum import Enum

from usbwatch.model import Findings, Loss, Verdict
from usbwatch.show.safe import safe
from usbwatch.show.words import counted, listed

__all__ = ["Outcome", "judged_wrong", "not_proven", "outcome", "sentence"]


class Outcome(Enum):
    """What a check came to; ``usbwatch.cli`` gives each an exit code of its own."""

    WHOLE = "whole"
    """Every expected device is present, and no hand check failed."""
    WRONG = "wrong"
    """Something is missing, impaired, substituted or moved, or lost inside, or a hand check failed."""
    NOT_ALL_SEEN = "not all seen"
    """Nothing wrong was found, but something could not be seen."""


_WRONG = (Verdict.MISSING, Verdict.IMPAIRED, Verdict.SUBSTITUTED, Verdict.MOVED)


def judged_wrong(findings: Findings) -> bool:
    """Whether a finding or a hand check says that something is wrong, so that a part can be looked for."""
    found = any(finding.verdict in _WRONG for finding in findings.findings)
    return found or any(not answer.yes for answer in findings.answers)


def outcome(findings: Findings) -> Outcome:
    """The one word for a unit's findings."""
    verdicts = {finding.verdict for finding in findings.findings}
    if judged_wrong(findings) or any(one.inside for one in findings.losses):
        return Outcome.WRONG
    return Outcome.NOT_ALL_SEEN if Verdict.UNSEEN in verdicts or findings.losses else Outcome.WHOLE


def sentence(findings: Findings) -> str:
    """The verdict as one plain sentence: "3 of 19 expected devices are missing"."""
    counts = Counter(finding.verdict for finding in findings.findings)
    total = len(findings.findings)
    hidden = sum(bool(finding.charged_to) for finding in findings.findings if finding.verdict is Verdict.UNSEEN)
    again = sum(bool(finding.came_and_went) for finding in findings.findings)
    unproven = [clause] if (clause := not_proven(findings)) else []
    clauses = [_clause(counts[verdict], verdict.value) for verdict in _WRONG if counts[verdict]]
    failed = sum(not answer.yes for answer in findings.answers)
    unseen = counts[Verdict.UNSEEN] - hidden - again
    lost = _lost(findings.losses)
    if not clauses:
        if lost:
            return "; ".join([*lost, _rest(total, unseen + hidden, failed), *unproven])
        whole = again and not (unseen + hidden or failed)
        seen = "whole now" if whole else _nothing_missing(total, unseen + hidden, failed)
        return "; ".join([seen, *unproven])
    number, _, rest = clauses[0].partition(" ")
    hides = f", hiding {hidden} more" if hidden else ""
    said = [f"{number} of {counted(total, 'expected device')} {rest}{hides}", *clauses[1:], *lost]
    said += [f"{unseen} unseen"] if unseen else []
    said += [f"{counted(failed, 'hand check')} failed"] if failed else []
    return "; ".join([*said, *unproven])


_MOST_NAMES = 4


def not_proven(findings: Findings) -> str:
    """That devices came and went before and were not watched since, as one clause; "" where none did."""
    names = [safe(finding.came_and_went, 60) for finding in findings.findings if finding.came_and_went]
    more = [f"{len(names) - _MOST_NAMES} more"] if len(names) > _MOST_NAMES else []
    said = f"{listed([*names[:_MOST_NAMES], *more])} came and went before: not proven until watched again"
    return said if names else ""


_MOST_PORTS = 3


def _lost(losses: tuple[Loss, ...]) -> list[str]:
    """One clause for each sort of loss: "a part wired to USB port 4.2 failed to enumerate"."""
    sorts: dict[tuple[bool, str], list[str]] = {}
    for one in losses:
        sorts.setdefault((not one.inside, one.what), []).append(safe(one.location.rpartition("/")[2], 20))
    return [_lost_clause(ports, what, inside=not outside) for (outside, what), ports in sorted(sorts.items())]


def _lost_clause(ports: list[str], what: str, *, inside: bool) -> str:
    more = [f"{len(ports) - _MOST_PORTS} more"] if len(ports) > _MOST_PORTS else []
    named = listed([*ports[:_MOST_PORTS], *more])
    one = len(ports) == 1
    if inside:
        return f"{'a part' if one else 'parts'} wired to USB {'port' if one else 'ports'} {named} {what}"
    return f"something at USB {'port' if one else 'ports'} {named} {what}, inside or outside"


def _rest(total: int, unseen: int, failed: int) -> str:
    """What is to be said of the expected devices beside a loss that none of them is known to be."""
    hands = f"; {counted(failed, 'hand check')} failed" if failed else ""
    if unseen:
        return f"{unseen} of {counted(total, 'expected device')} unseen{hands}"
    return f"all {counted(total, 'expected device')} present{hands}"


def _clause(count: int, word: str) -> str:
    return f"{count} {'is' if count == 1 else 'are'} {word}"


def _nothing_missing(total: int, unseen: int, failed: int) -> str:
    if failed and unseen == total:
        return f"{counted(failed, 'hand check')} failed, and none of {counted(total, 'expected device')} was seen"
    if failed:
        seen = f"{total - unseen} of {total}" if unseen else f"all {total}"
        return f"{counted(failed, 'hand check')} failed, though {seen} expected devices are present"
    if unseen:
        return f"nothing wrong found, {unseen} of {counted(total, 'expected device')} unseen"
    return f"whole: all {total} expected devices are present"
