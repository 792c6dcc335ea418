"""A report for the terminal, and as plain text: the same lines."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.model import Fitted, Verdict
from usbwatch.show.check_view import STAMPS
from usbwatch.show.lines import BLANK, Line, Style, line, rule, spread
from usbwatch.show.report.value import Block, Device, Fact, Kind, Report, Suspect
from usbwatch.show.ticket import MARGIN, heading, labelled, mark, row, stamp
from usbwatch.show.verdict import Outcome
from usbwatch.show.words import SIGNS, STYLES, WORDS, percent

__all__ = ["report_page"]

_COLUMN = 16


def report_page(report: Report, width: int) -> list[Line]:
    """The whole report, the verdict and its cause first, how it was made last."""
    return [
        *_head(report, width),
        *_stamp(report, width),
        *(line(("Note: ", Style.CAUTION), notice, hang=6) for notice in report.notices),
        *_why(report),
        *_facts("The unit", report.unit),
        *_since(report),
        *_blocks(report, width),
        *_changed(report),
        *_suspects(report, width),
        *_rows("Ruled out", [(one.name, one.how) for one in report.ruled]),
        *_rows("Evidence", [(f"{one.about} ({one.source})", one.text) for one in report.quotes]),
        *_hands(report),
        *_rows("What was done", [(f"{one.when} {one.what}", "; ".join(one.said)) for one in report.events]),
        *_facts("Money", report.money),
        *_rows("Beside the unit's own parts", [(name, "") for name in report.outside]),
        *_rows("What the capture saw", [(one.bus, f"{one.state}, {one.said}".rstrip(", ")) for one in report.coverage]),
        *_made(report),
        *_cautions(report.cautions),
    ]


def _head(report: Report, width: int) -> list[Line]:
    label = f"{report.label}  " if report.label else ""
    title = report.heading
    return spread(
        line((f"{label}{report.title}", Style.STRONG), hang=2), f"{title[:1].upper()}{title[1:]}", width, Style.HEADING
    )


def _stamp(report: Report, width: int) -> list[Line]:
    cause = report.cause
    named = f"Likeliest cause: {cause.name} ({cause.how}), {percent(cause.probability)}" if cause else report.no_cause
    step = report.next_step
    takes = f" ({step.takes})" if step and step.takes else ""
    next_ = f"Do next: {step.words}{takes}" if step else ""
    stops = [one for text in report.stops for one in stamp(f"STOP. {text}", "!", Style.STAMP_WRONG, width)]
    return [*stops, *stamp(report.verdict, *_sign(report), width, named, next_)]


def _sign(report: Report) -> tuple[str, Style]:
    """Of a comparison, a difference is neither good nor bad."""
    differs = report.kind is Kind.COMPARISON and report.outcome is not Outcome.WHOLE
    return ("~", Style.STAMP_UNSEEN) if differs else STAMPS[report.outcome]


def _why(report: Report) -> list[Line]:
    if report.cause is None:
        return []
    return [*heading("Why"), *(line("  ", sentence, hang=2) for sentence in report.cause.because)]


def _facts(title: str, facts: Sequence[Fact]) -> list[Line]:
    return _rows(title, [(one.name, one.said) for one in facts])


def _rows(title: str, rows: Sequence[tuple[str, str]]) -> list[Line]:
    if not rows:
        return []
    lines = heading(title)
    for name, said in rows:
        lines.append(line("  ", (name.ljust(_COLUMN), Style.FAINT), f"  {said}" if said else "", hang=_COLUMN + 4))
    return lines


def _since(report: Report) -> list[Line]:
    if not report.since:
        return []
    quiet = (Fitted.SAME, Fitted.UNTOLD)
    loud = [one for one in report.since if one.fitted not in quiet]
    lines = heading(report.since_title)
    lines += [
        line(mark("≠", one.fitted.value.upper(), Style.WRONG), (one.name, Style.STRONG), f"  {one.said}", hang=MARGIN)
        for one in loud
    ]
    lines += labelled("wear", [f"{one.name} {one.said}" for one in report.wear], 2, column=MARGIN - 2)
    for fitted in quiet:
        names = [one.name for one in report.since if one.fitted is fitted]
        lines += labelled(fitted.value, names, 2, column=MARGIN + 2)
    return lines


def _blocks(report: Report, width: int) -> list[Line]:
    lines: list[Line] = []
    for block in report.blocks:
        lines += [BLANK, rule("┄", width), *_block_head(block, width)]
        lines += [one for device in block.devices for one in _device(device, width)]
    return lines


def _block_head(block: Block, width: int) -> list[Line]:
    suspect = f"suspect, {percent(block.probability)}" if block.probability is not None else ""
    names = [
        f"{link.name} (suspect, {percent(link.probability)})" if link.probability is not None else link.name
        for link in block.links
    ]
    head = spread(line((block.name.upper(), Style.STRONG)), suspect, width, Style.WRONG)
    return [*head, *labelled("hangs on", names, 0, column=MARGIN)]


def _device(device: Device, width: int) -> list[Line]:
    if device.verdict is Verdict.PRESENT:
        got = f"  {device.got}" if device.got else ""
        opening = mark(SIGNS[device.verdict], WORDS[device.verdict], STYLES[device.verdict])
        return [line(opening, device.name, (got, Style.FAINT), hang=MARGIN)]
    reason = "; ".join(filter(None, [device.got, *device.reasons]))
    hidden = f"hidden by the loss of {device.charged_to}" if device.charged_to else ""
    lines = row(device.verdict, device.name, "; ".join(filter(None, [reason, hidden])), width)
    told = [line(" " * MARGIN, ("to see it: ", Style.FAINT), device.would_tell, hang=MARGIN)]
    return [*lines, *(told if device.would_tell else [])]


def _changed(report: Report) -> list[Line]:
    if report.kind is not Kind.COMPARISON:
        return []
    lines = heading("What changed")
    lines += [] if report.changed else [line("  Nothing that both captures could see.", hang=2)]
    for one in report.changed:
        where = ", ".join(filter(None, [one.block, one.where]))
        lines.append(
            line((one.word.upper().ljust(MARGIN), Style.STRONG), one.name, (f"  {where}", Style.FAINT), hang=MARGIN)
        )
        lines += [line(" " * MARGIN, said, hang=MARGIN) for said in one.said]
    return lines


def _suspects(report: Report, width: int) -> list[Line]:
    if not report.suspects:
        return []
    lines = heading("Where the fault lies")
    for one in report.suspects:
        lines += [BLANK, *_suspect(one, width)]
    return [*lines, BLANK, line(" " * 8, (report.basis, Style.FAINT), hang=8)]


def _suspect(one: Suspect, width: int) -> list[Line]:
    head = line((f"{percent(one.probability):>6}", Style.STRONG), "  ", (one.name, Style.STRONG), hang=8)
    return [
        *spread(head, one.mend, width),
        *labelled("how", [f"{way.name} {way.said}" for way in one.ways], 8),
        *labelled("explains", one.explains, 8),
        *labelled("does not explain", one.leaves, 8),
        *labelled("speaks against", [f"{name} is well" for name in one.against], 8),
    ]


def _hands(report: Report) -> list[Line]:
    words = {True: "yes", False: "NO", None: "open"}
    return _rows("Established by hand", [(words[one.answer], one.question) for one in report.hands])


def _made(report: Report) -> list[Line]:
    rows = [("made", f"{report.shown_at} by {report.made_by}"), ("profile", report.profile)]
    for number, look in enumerate(report.looks, 1):
        rows.append((f"capture {number}", f"{look.shown_at}, {look.system}, usbwatch {look.tool}"))
        rows.append(("", look.digest))
    private = "serial numbers, addresses and names are replaced" if report.redacted else "identifiers are as recorded"
    return _rows("How this was made", [*((name, said) for name, said in rows if said), ("privacy", private)])


def _cautions(cautions: Sequence[str]) -> list[Line]:
    if not cautions:
        return []
    return [
        *heading("When you work on it"),
        *(line("  ", ("! ", Style.CAUTION), (one, Style.CAUTION), hang=4) for one in cautions),
    ]
