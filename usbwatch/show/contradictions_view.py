"""Answers that cannot be so beside what the capture shows, called out one by one."""

from __future__ import annotations

from usbwatch.localise import Contradiction, contradictions
from usbwatch.model import Findings, Profile
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe

__all__ = ["ask_again", "contradiction_lines", "resting_on_it"]


def contradiction_lines(findings: Findings, profile: Profile, capture: str = "this capture") -> list[Line]:
    """One sentence for each, after a blank line; nothing when there is none. ``capture`` says which one it is."""
    told = [_sentence(each, findings, profile, capture) for each in contradictions(findings, profile)]
    lines = [line("  ", ("! ", Style.CAUTION), (said, Style.CAUTION), hang=4) for said in told]
    return [BLANK, *lines] if lines else []


def ask_again(findings: Findings, profile: Profile) -> str:
    """What comes before any other step, and why, where answers cannot be so; "" where nothing contradicts itself."""
    found = contradictions(findings, profile)
    if not found:
        return ""
    if any(each.device for each in found):
        return "Capture again and ask again: what was answered and what the capture shows can hardly both be so"
    return "Ask again: two answers can hardly both be so"


def resting_on_it(findings: Findings, profile: Profile) -> list[Line]:
    """What the figures on the page are worth until then; nothing where nothing contradicts itself."""
    if not contradictions(findings, profile):
        return []
    said = "Until that is settled, every chance and every step below rests on the contradiction."
    return [line("  ", ("! ", Style.CAUTION), (said, Style.CAUTION), hang=4)]


def _sentence(each: Contradiction, findings: Findings, profile: Profile, capture: str) -> str:
    questions = {check.id: safe(check.question, 160) for check in profile.checks}
    yes = f"“{questions[each.check]}” is answered with yes"
    if each.other:
        return f"{yes}, and “{questions[each.other]}” with no: both can hardly be so. Ask both again."
    name = next(safe(device.name, 60) for device in profile.devices if device.id == each.device)
    finding = findings.of(each.device)
    seen = "lost with what it hangs on" if finding.charged_to else finding.verdict.value
    return f"{yes}, but {name} is {seen} in {capture}: both can hardly be so. Capture again, and ask again."
