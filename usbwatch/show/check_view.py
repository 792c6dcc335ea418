"""The page that ``usbwatch check`` shows: a ticket in stubs, one per subassembly.

From top to bottom: the unit, the verdict, the subassemblies as they come apart,
where the fault lies, what to do next, and then what was set aside and what could
not be seen.
"""

from __future__ import annotations

from usbwatch.model import Answer, ExpectedDevice, Finding, Node, Part, Rung, Symptom, Verdict
from usbwatch.plan import question
from usbwatch.show.checked import Checked
from usbwatch.show.claims_view import claim_lines
from usbwatch.show.contradictions_view import contradiction_lines, resting_on_it
from usbwatch.show.coverage_view import coverage_lines
from usbwatch.show.declared_view import declared_lines, declared_stamp
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.lines import BLANK, Line, Style, line, rule
from usbwatch.show.plan_view import do_next, next_lines
from usbwatch.show.recording import for_unit, unit_command
from usbwatch.show.safe import safe
from usbwatch.show.suspects_view import likeliest, suspect_lines
from usbwatch.show.ticket import MARGIN, heading, mark, perforation, row, stamp, stub_heading, stub_name
from usbwatch.show.troubles_view import trouble_lines
from usbwatch.show.verdict import Outcome, outcome, sentence
from usbwatch.show.words import SIGNS, STYLES, WORDS, node_name, percent, place, taken_words, unit_name

__all__ = [
    "STAMPS",
    "check_view",
    "hand_line",
    "how_well",
    "stop_lines",
    "unit_lines",
    "verdict_lines",
    "which_capture_view",
]

STAMPS = {
    Outcome.WHOLE: ("✓", Style.STAMP_FINE),
    Outcome.WRONG: ("✗", Style.STAMP_WRONG),
    Outcome.NOT_ALL_SEEN: ("?", Style.STAMP_UNSEEN),
}
"""Sign and style of the verdict, by outcome."""

_URGENCY = {
    verdict: rank
    for rank, verdict in enumerate(
        (
            Verdict.MISSING,
            Verdict.IMPAIRED,
            Verdict.SUBSTITUTED,
            Verdict.MOVED,
            Verdict.UNSEEN,
            Verdict.PRESENT,
        )
    )
}
"""The order of the rows within a subassembly."""

_ASIDE = 30
"""Nodes that are named of those set aside; the JSON document has them all."""

_WORTH_NAMING = 0.1
"""From this probability on, a suspect is marked where it sits, too."""

_PRESENT_MARK = mark(SIGNS[Verdict.PRESENT], WORDS[Verdict.PRESENT], STYLES[Verdict.PRESENT])

_HANDS = {True: ("✓", "yes", Style.FINE), False: ("✗", "NO", Style.WRONG)}


def check_view(checked: Checked, width: int, when: str = "") -> list[Line]:
    """The whole page for one checked unit; ``when`` is the time of the capture as it is to be read."""
    return [
        *unit_lines(checked, when),
        BLANK,
        *verdict_lines(checked, width),
        *contradiction_lines(checked.findings, checked.profile),
        *resting_on_it(checked.findings, checked.profile),
        *_notices(checked.findings.notices),
        *_subassembly_lines(checked, width),
        *_watch_lines(checked),
        *_hand_lines(checked),
        *suspect_lines(checked, width),
        *next_lines(checked, width),
        *declared_lines(checked),
        *trouble_lines(checked),
        *_set_aside("Helper devices, attached from outside, not judged", checked.findings.external),
        *_set_aside("Inside, but not in the profile", checked.findings.unexpected),
        *_set_aside("Inside or outside? Neither firmware nor profile says", checked.findings.unplaced),
        *coverage_lines(checked.capture.coverage),
        *claim_lines(checked),
    ]


def _watch_lines(checked: Checked) -> list[Line]:
    """What watching the unit came to; the rules on that are loaded only for a unit that was watched."""
    if not checked.capture.watches:
        return []
    from usbwatch.show.watched_view import watch_lines

    return watch_lines(checked)


def verdict_lines(checked: Checked, width: int) -> list[Line]:
    """What it comes to, alone: a danger first, then the verdict, the likeliest cause and what to do next."""
    return [
        *stop_lines(checked, width),
        *stamp(
            sentence(checked.findings),
            *STAMPS[outcome(checked.findings)],
            width,
            f"But not as at its baseline: {safe(checked.since, 160)}" if checked.since else "",
            likeliest(checked),
            do_next(checked),
            declared_stamp(checked),
        ),
    ]


def stop_lines(checked: Checked, width: int) -> list[Line]:
    """The words of the checks whose no means danger, above everything."""
    return [one for text in checked.plan.stops for one in stamp(f"STOP. {safe(text)}", "!", Style.STAMP_WRONG, width)]


def which_capture_view(path: str, number: int, total: int) -> list[Line]:
    """What stands above each page when several captures are checked in one run."""
    above = [] if number == 1 else [BLANK, BLANK]
    return [*above, line((f"capture {number} of {total}: ", Style.FAINT), safe(path), hang=2)]


def unit_lines(checked: Checked, when: str) -> list[Line]:
    """The unit, its serial number, and what the check rests on; ``when`` as ``check_view`` has it."""
    unit, system = checked.capture.unit, checked.capture.system
    serial = f", serial {safe(unit.product_serial.strip(), 40)}" if unit.product_serial.strip() else ""
    variant = next((one.name for one in checked.profile.variants if one.id == checked.findings.variant), "")
    said = [
        taken_words(checked.capture, when),
        *(["copied tree"] if system.source == "tree" else []),
        *(["virtual machine"] if system.virtual else []),
        f"profile {safe(checked.profile.id, 60)}",
        *([f"variant {safe(variant, 60)}"] if variant else []),
    ]
    name = unit_name(unit)
    return [
        line((f"{name[:1].upper()}{name[1:]}", Style.STRONG), serial, hang=2),
        line((", ".join(said), Style.FAINT), hang=2),
    ]


def _notices(notices: tuple[str, ...]) -> list[Line]:
    return [line(("Note: ", Style.CAUTION), safe(notice), hang=6) for notice in notices]


_Found = list[tuple[ExpectedDevice, Finding]]


def _subassembly_lines(checked: Checked, width: int) -> list[Line]:
    """In full what has something wrong, unseen or suspected in it; the others after that, a line each."""
    found = [(stub, _found_in(stub, checked)) for stub in stubs(checked.profile)]
    full = [(stub, inside) for stub, inside in found if not _all_well(stub, inside, checked)]
    well = [(stub, inside) for stub, inside in found if inside and (stub, inside) not in full]
    bare = [stub_name(stub) for stub, inside in found if not inside and (stub, inside) not in full]
    lines = [one for stub, inside in full for one in _full_lines(stub, inside, checked, width)]
    lines += [BLANK, rule("┄", width)] if well or bare else []
    for stub, inside in well:
        names = ", ".join(_title(device, finding) for device, finding in inside)
        lines.append(line(_PRESENT_MARK, (stub_name(stub), Style.STRONG), f"  {names}", hang=MARGIN))
    if bare:
        lines.append(line(mark("·", "no device", Style.FAINT), (", ".join(bare), Style.FAINT), hang=MARGIN))
    return lines


def _found_in(stub: Stub, checked: Checked) -> _Found:
    by_device = {finding.device: finding for finding in checked.findings.findings}
    return [(device, by_device[device.id]) for device in stub.devices if device.id in by_device]


def _all_well(stub: Stub, inside: _Found, checked: Checked) -> bool:
    well = all(finding.verdict is Verdict.PRESENT for _, finding in inside)
    return well and not _suspected(stub.part, *stub.links, checked=checked)


def _full_lines(stub: Stub, inside: _Found, checked: Checked, width: int) -> list[Line]:
    rows: dict[tuple[str, ...], list[str]] = {}
    for device, finding in sorted(inside, key=lambda pair: _URGENCY[pair[1].verdict]):
        rows.setdefault(_row_key(device, finding, checked), []).append(_title(device, finding))
    remark = "; ".join(filter(None, [_count_words(inside), _suspected(stub.part, checked=checked)]))
    lines = [BLANK, perforation(stub, width, _suspected(*stub.links, checked=checked))]
    lines += stub_heading(stub, remark, width, Style.STRONG)
    for (verdict, reason, remedy, _), names in rows.items():
        lines += row(Verdict(verdict), ", ".join(names), reason, width)
        lines += [line(" " * MARGIN, ("to see it: ", Style.FAINT), remedy, hang=MARGIN)] if remedy else []
    return lines


def _count_words(inside: _Found) -> str:
    if not inside:
        return "no device"
    present = sum(finding.verdict is Verdict.PRESENT for _, finding in inside)
    return "all present" if present == len(inside) else f"{present} of {len(inside)} present"


def _suspected(*parts: Part | None, checked: Checked) -> str:
    """What is to be said beside a part's name when it is a suspect worth naming there."""
    if outcome(checked.findings) is not Outcome.WRONG:
        return ""
    ids = {part.id for part in parts if part}
    chances = [one.probability for one in checked.suspects.parts if one.part in ids and one.explains]
    return f"suspect, {percent(max(chances))}" if chances and max(chances) >= _WORTH_NAMING else ""


def _row_key(device: ExpectedDevice, finding: Finding, checked: Checked) -> tuple[str, ...]:
    """What one row says. Devices of which the same is to be said share it; what is wrong always stands alone."""
    verdict = finding.verdict
    if verdict is Verdict.PRESENT:
        return (verdict.value, "", "", "")
    if finding.charged_to:
        known = {one.id: one.name for one in checked.profile.devices}
        return (verdict.value, f"hidden: {safe(known.get(finding.charged_to, finding.charged_to), 60)} is lost", "", "")
    reason = "; ".join(filter(None, (safe(finding.reasons[0]) if finding.reasons else "", _software(finding))))
    alone = "" if verdict is Verdict.UNSEEN else device.id
    return (verdict.value, reason, safe(for_unit(finding.would_tell, checked.label)), alone)


def _software(finding: Finding) -> str:
    """Whether a driver, a block or a setting that was seen can explain a device that is not well, in a few words.

    That none was seen leaves open that driver or firmware have hung: no capture shows that. No setting makes a device
    come and go.
    """
    if finding.software:
        return f"software could explain it: {safe(finding.software)}"
    wrong = finding.verdict in (Verdict.MISSING, Verdict.IMPAIRED) and finding.symptom is not Symptom.INTERMITTENT
    return "no software setting seen that explains it" if wrong else ""


def _title(device: ExpectedDevice, finding: Finding) -> str:
    """The device's name, with how far it got where its verdict does not say so."""
    name = safe(device.name, 60)
    if finding.verdict is Verdict.PRESENT:
        return f"{name}{how_well(device, finding)}"
    if finding.verdict is not Verdict.IMPAIRED or finding.rung.reaches(device.reaches):
        return name
    return f"{name} (got as far as {finding.rung.value})"


def how_well(device: ExpectedDevice, finding: Finding) -> str:
    """What "present" leaves unsaid: that a device is there by firmware's word alone, or how worn a battery is."""
    if finding.by_hand_alone and not finding.rung.reaches(Rung.WORKING):
        return " (declared, not proven)"
    if device.function == "battery" and finding.reasons:
        return f" ({safe(finding.reasons[0], 100)})"
    if device.function == "pointing-device" and finding.node is not None and _unspecific(finding.node):
        where = f"{node_name(finding.node)} at {safe(finding.node.location, 100)}"
        return f" (by {where}, which does not say whether it is a touchpad, a pointing stick or a mouse)"
    return ""


def _unspecific(node: Node) -> bool:
    """Whether a pointing device shows no sign of what it is: PS/2 names anything that moves a pointer a mouse."""
    return not {"touchpad", "pointing-stick"} & set(node.functions)


def _hand_lines(checked: Checked) -> list[Line]:
    answers = checked.findings.answers
    done = [*heading("Established by hand"), *(hand_line(one, checked) for one in answers)] if answers else []
    still = _open_checks(checked)
    if outcome(checked.findings) is Outcome.WRONG or not still:
        return done
    return [
        *done,
        *heading("Still to be established by hand"),
        line("  ", (_how_to_answer(checked.label), Style.FAINT), hang=4),
        *(line("  ", one, hang=4) for one in still),
    ]


def _how_to_answer(label: str) -> str:
    if label:
        return f"to answer: {unit_command('answer', label)} NAME=yes|no"
    return "to answer, add to usbwatch check: --answer NAME=yes|no"


def _open_checks(checked: Checked) -> list[str]:
    """The questions that nobody has answered and that this variant of the model has."""
    done = {answer.check for answer in checked.findings.answers}
    variant = next((one for one in checked.profile.variants if one.id == checked.findings.variant), None)
    absent = variant.without if variant else ()
    still = [one for one in checked.profile.checks if one.id not in done and one.id not in absent]
    return [f"{safe(one.question)} ({safe(one.id, 60)})" for one in still]


def hand_line(answer: Answer, checked: Checked) -> Line:
    """One answered hand check."""
    asked = question(answer.check, checked.profile) or answer.check
    of_profile = any(check.id == answer.check for check in checked.profile.checks)
    twice = [("  tried twice", Style.FAINT)] if answer.again and of_profile else []
    return line(mark(*_HANDS[answer.yes]), safe(asked), *twice, hang=MARGIN)


def _set_aside(title: str, nodes: tuple[Node, ...]) -> list[Line]:
    if not nodes:
        return []
    return [
        *heading(title),
        *(line("  ", node_name(node), (f"  {place(node)}", Style.FAINT), hang=4) for node in nodes[:_ASIDE]),
        *([line("  ", f"and {len(nodes) - _ASIDE} more", hang=4)] if len(nodes) > _ASIDE else []),
    ]
