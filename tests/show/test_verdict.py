"""The verdict on a unit, in one word and in one sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.invented import finding, findings

from usbwatch.model import Answer, Findings, Loss, Verdict
from usbwatch.show.verdict import Outcome, outcome, sentence

MISSING, IMPAIRED, UNSEEN, MOVED = Verdict.MISSING, Verdict.IMPAIRED, Verdict.UNSEEN, Verdict.MOVED
NO = (Answer(check="caps-light", yes=False),)
INSIDE = Loss(location="pci0000:00/14.0/usb2/4.2", what="failed to enumerate", inside=True)
YES = (Answer(check="caps-light", yes=True),)

CASES = {
    "whole": (findings(), Outcome.WHOLE, "whole: all 19 expected devices are present"),
    "whole by hand too": (findings(answers=YES), Outcome.WHOLE, "whole: all 19 expected devices are present"),
    "one missing": (
        findings(finding("camera", MISSING)),
        Outcome.WRONG,
        "1 of 19 expected devices is missing",
    ),
    "three missing": (
        findings(*(finding(one, MISSING) for one in ("camera", "panel", "disk"))),
        Outcome.WRONG,
        "3 of 19 expected devices are missing",
    ),
    "of several kinds": (
        findings(finding("camera", MISSING), finding("touchpad", IMPAIRED), finding("bluetooth", MOVED)),
        Outcome.WRONG,
        "1 of 19 expected devices is missing; 1 is impaired; 1 is moved",
    ),
    "one loss that hides others is one loss": (
        findings(
            finding("hub", MISSING),
            finding("keyboard", UNSEEN, charged_to="hub"),
            finding("touchpad", UNSEEN, charged_to="hub"),
            finding("panel", UNSEEN),
        ),
        Outcome.WRONG,
        "1 of 19 expected devices is missing, hiding 2 more; 1 unseen",
    ),
    "lost inside, where no finding speaks of it": (
        findings(losses=(INSIDE,)),
        Outcome.WRONG,
        "a part wired to USB port 4.2 failed to enumerate; all 19 expected devices present",
    ),
    "lost beside what is missing": (
        findings(finding("camera", MISSING), losses=(INSIDE, replace(INSIDE, location="usb2/5"))),
        Outcome.WRONG,
        "1 of 19 expected devices is missing; parts wired to USB ports 4.2 and 5 failed to enumerate",
    ),
    "lost, inside or outside": (
        findings(finding("panel", UNSEEN), losses=(replace(INSIDE, inside=False),)),
        Outcome.NOT_ALL_SEEN,
        "something at USB port 4.2 failed to enumerate, inside or outside; 1 of 19 expected devices unseen",
    ),
    "unseen is not missing": (
        findings(finding("panel", UNSEEN), finding("lid", UNSEEN)),
        Outcome.NOT_ALL_SEEN,
        "nothing wrong found, 2 of 19 expected devices unseen",
    ),
    "a hand check failed": (
        findings(answers=NO),
        Outcome.WRONG,
        "1 hand check failed, though all 19 expected devices are present",
    ),
    "a hand check failed and one unseen": (
        findings(finding("panel", UNSEEN), answers=NO),
        Outcome.WRONG,
        "1 hand check failed, though 18 of 19 expected devices are present",
    ),
    "missing, and a hand check failed": (
        findings(finding("camera", MISSING), answers=NO),
        Outcome.WRONG,
        "1 of 19 expected devices is missing; 1 hand check failed",
    ),
}


@pytest.mark.parametrize(("found", "word", "said"), CASES.values(), ids=CASES.keys())
def test_the_verdict(found: Findings, word: Outcome, said: str) -> None:
    assert (outcome(found), sentence(found)) == (word, said)
