"""The one page that nobody has to ask for: which unit, what is wrong with it part by part, what to do next.

Nothing of the verdict or of the next step may be on another page, for there may be no key to turn it with.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from usbwatch.model import Finding, Part, Verdict
from usbwatch.onboard.blocks import Block, page_of
from usbwatch.onboard.foot import foot_lines
from usbwatch.onboard.on_unit import on_unit
from usbwatch.show.block_letters import can_write, columns, written
from usbwatch.show.checked import Checked
from usbwatch.show.declared_view import declared_stamp
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.report.doing import next_step
from usbwatch.show.safe import safe
from usbwatch.show.suspects_view import likeliest
from usbwatch.show.ticket import stub_name
from usbwatch.show.verdict import Outcome, outcome, sentence
from usbwatch.show.words import SIGNS, STYLES, WORDS, counted, part_name, percent, unit_name

__all__ = ["Answer", "answer_lines", "answer_page"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the page is made from."""

    checked: Checked
    money: bool = False
    """Whether costs may be shown."""
    label: str = ""
    looks: int = 1
    """How many captures are weighed together."""
    notices: tuple[str, ...] = ()
    """What is to be known before the verdict is believed, one sentence each, our own first."""
    kept: str = ""
    """Where it was saved, or that it was not and why, as one sentence."""
    is_kept: bool = True
    helpers: bool = True
    """Whether keys count now."""


_URGENT = (Verdict.MISSING, Verdict.IMPAIRED, Verdict.SUBSTITUTED, Verdict.MOVED, Verdict.UNSEEN)
_STYLES = {Outcome.WHOLE: Style.FINE, Outcome.WRONG: Style.WRONG, Outcome.NOT_ALL_SEEN: Style.UNSEEN}
_BANDS = {
    Outcome.WHOLE: ("✓", Style.STAMP_FINE),
    Outcome.WRONG: ("✗", Style.STAMP_WRONG),
    Outcome.NOT_ALL_SEEN: ("?", Style.STAMP_UNSEEN),
}
_TALL = 30
"""From this height on there may be letters of ten rows."""
_MARGIN = 9
"""Columns of "DO NEXT" and the gap after it."""
_NAME = 60


def answer_page(answer: Answer, width: int, height: int) -> list[Line]:
    """The page as exactly ``height`` lines, none wider than ``width``."""
    return page_of(_blocks(answer, width, height), foot_lines(width, keys=answer.helpers), width, height)


def answer_lines(answer: Answer) -> list[Line]:
    """The same in full, as long as it gets: for paper and for a line on which nothing is painted."""
    blocks = _blocks(answer, 0, 0)
    return [row for block in blocks for row in block.wordings[0]]


def _blocks(answer: Answer, width: int, height: int) -> list[Block]:
    return [
        _title(answer),
        _big(answer, width, height),
        _verdict(answer),
        _notices(answer),
        Block(wordings=((BLANK,), ()), yields=(0,)),
        _next(answer),
        Block(wordings=((BLANK,), ()), yields=(1,)),
        _parts(answer),
        Block(wordings=((BLANK,), ()), yields=(2,)),
        _kept(answer),
    ]


def _title(answer: Answer) -> Block:
    unit = answer.checked.capture.unit
    name = unit_name(unit)
    serial = safe(unit.product_serial.strip(), 40)
    label = f"{safe(answer.label, _NAME)}  " if answer.label else ""
    head = (f"{label}{name[:1].upper()}{name[1:]}", Style.STRONG)
    looks = f", {answer.looks} captures weighed together" if answer.looks > 1 else ""
    whole = line(head, f", serial {serial}" if serial else ", no serial number told", looks, hang=2)
    return Block(wordings=((whole,),))


def _big(answer: Answer, width: int, height: int) -> Block:
    """The verdict in a few words, as large as the page allows; a band with its sign where it allows no more."""
    words, style = _big_words(answer.checked)
    sign, band = _BANDS[Outcome.NOT_ALL_SEEN if style is Style.UNSEEN else outcome(answer.checked.findings)]
    found: list[tuple[Line, ...]] = []
    yields: list[int] = []
    for scale, rows, yields_at in ((4, 2, 10), (3, 2, 11), (4, 1, 12), (3, 1, 13), (2, 1, 70), (1, 1, 71)):
        if can_write(words) and columns(words, scale) + 1 <= width and (rows == 1 or height >= _TALL):
            letters = [line((f" {row}", style)) for row in written(words, "█", scale, rows)]
            if height < _TALL:
                found += [(BLANK, *letters), tuple(letters)]
                yields += [-1, yields_at]
            else:
                found.append((BLANK, *letters, BLANK))
                yields.append(yields_at)
    return Block(wordings=(*found, (line((f" {sign} {words} ", band)),)), yields=tuple(yields))


def _big_words(checked: Checked) -> tuple[str, Style]:
    found = checked.findings
    its = outcome(found)
    if checked.plan.stops:
        return "STOP", Style.WRONG
    if found.other_model:  # what is missing by another model's profile says nothing of this unit
        return ("NO LAPTOP" if checked.profile.generic else "OTHER MODEL"), Style.UNSEEN
    if its is not Outcome.WRONG:
        return ("WHOLE" if its is Outcome.WHOLE else "NOT ALL SEEN"), _STYLES[its]
    for verdict in _URGENT[:-1]:
        number = sum(one.verdict is verdict for one in found.findings)
        if number:
            return f"{number} {verdict.value.upper()}", Style.WRONG
    failed = sum(not one.yes for one in found.answers)
    return (f"{failed} FAILED" if failed else f"{len(found.losses)} LOST"), Style.WRONG


def _verdict(answer: Answer) -> Block:
    checked = answer.checked
    said = sentence(checked.findings)
    stops = [line((f"STOP. {safe(text)}", Style.WRONG), hang=2) for text in checked.plan.stops]
    cause = likeliest(checked)
    first = [*stops, line((f"{said[:1].upper()}{said[1:]}.", Style.STRONG), hang=2)]
    lines = [*first, *([line(cause, hang=2)] if cause else [])]
    others = _others(checked)
    declared = declared_stamp(checked)
    more = [line(one, hang=2) for one in (others, declared) if one]
    return Block(wordings=((*lines, *more), tuple(lines)), yields=(30,))


def _others(checked: Checked) -> str:
    """The suspects after the first, in a few words."""
    if not likeliest(checked).startswith("Likeliest cause"):
        return ""
    rest = [one for one in checked.suspects.parts if one.explains][1:4]
    told = [f"{part_name(one.part, checked.profile)} {percent(one.probability)}" for one in rest]
    return f"else {', '.join(told)}" if told else ""


def _notices(answer: Answer) -> Block:
    """One line for each; shorter, what each says before its colon, in one paragraph."""
    told = [on_unit(safe(one, 400)) for one in answer.notices]
    lines = tuple(line(("! ", Style.CAUTION), one, hang=2) for one in told)
    in_short = " ".join(f"{one.partition(':')[0].rstrip('.')}." for one in told)
    short = (line(("! ", Style.CAUTION), in_short, hang=2),) if told else ()
    return Block(wordings=(lines, short, lines[:1]), yields=(25, 65))


def _next(answer: Answer) -> Block:
    """What to do next, with its cautions; why, where there is room for it."""
    label = ("DO NEXT  ", Style.HEADING)
    step = next_step(answer.checked, money=answer.money)
    if step is None:
        said = _nothing_to_do(answer)
        return Block(wordings=((line(label, said, hang=_MARGIN),) if said else (),))
    takes = f" ({step.takes})" if step.takes else ""
    lines = [line(label, (on_unit(step.words), Style.STRONG), takes, hang=_MARGIN)]
    # Narrow pages have no room to set in what follows.
    lines += [line(("! ", Style.CAUTION), (one, Style.CAUTION), hang=2) for one in step.cautions]
    why = line(("why: ", Style.FAINT), step.why, hang=5)
    return Block(
        wordings=((*lines, why), tuple(lines)) if step.why else (tuple(lines),), yields=(5,) if step.why else ()
    )


def _nothing_to_do(answer: Answer) -> str:
    """What can still be done where no step is due: what only a hand can prove."""
    found = answer.checked.findings
    if answer.checked.plan.stops:
        return "What stands under STOP, before anything else."
    if found.other_model:
        return "" if answer.checked.profile.generic else "Judge it by its own profile. With a helper keyboard, press p."
    names = {device.id: device.name for device in answer.checked.profile.devices}
    hands = [safe(names[one.device], _NAME) for one in found.findings if one.by_hand_alone and _is_open(one)]
    if hands:
        return f"Hand checks: only a hand can prove {', '.join(hands)}. With a helper keyboard, press h."
    unseen = next((one for one in found.findings if one.verdict is Verdict.UNSEEN and one.would_tell), None)
    if unseen is not None:
        return f"To see {safe(names[unseen.device], _NAME)}: {on_unit(safe(unseen.would_tell, 200))}."
    return "Nothing: no step is due." if outcome(found) is Outcome.WHOLE else ""


def _is_open(finding: Finding) -> bool:
    return finding.verdict is Verdict.UNSEEN and not finding.charged_to


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One subassembly that is not all well."""

    name: str
    verdict: Verdict
    told: tuple[tuple[Verdict, tuple[str, ...]], ...]
    """By verdict, the most urgent first, the names of its devices."""
    suspect: str
    reasons: tuple[str, ...]


def _parts(answer: Answer) -> Block:
    """The verdict by subassembly: in full, without reasons, and last of all in one paragraph."""
    checked = answer.checked
    found = [(stub, _row(stub, checked)) for stub in stubs(checked.profile)]
    rows = [row for _, row in found if row is not None]
    well = [stub_name(stub) for stub, row in found if row is None and _devices(stub, checked)]
    fine = [line(("✓ present  ", Style.FINE), ", ".join(well), hang=2)] if well else []
    some = [line(("✓ present  ", Style.FINE), f"{counted(len(well), 'other part')}", hang=2)] if well and rows else fine
    rows.sort(key=lambda row: _URGENT.index(row.verdict) if row.told else len(_URGENT))
    full = [one for row in rows for one in _row_lines(row, reasons=True)]
    short = [one for row in rows for one in _row_lines(row, reasons=False)]
    terse = [line(*_joined(rows, names=True), hang=2)] if rows else []
    tersest = [line(*_joined(rows, names=False), hang=2)] if rows else []
    return Block(
        wordings=(
            (*full, *fine),
            (*short, *fine),
            (*short, *some),
            (*terse, *some),
            tuple(terse or some),
            (*tersest, *some)[:1],
        ),
        yields=(20, 40, 50, 80, 90),
    )


def _devices(stub: Stub, checked: Checked) -> list[Finding]:
    by_device = {one.device: one for one in checked.findings.findings}
    return [by_device[device.id] for device in stub.devices if device.id in by_device]


def _row(stub: Stub, checked: Checked) -> _Row | None:
    """What is to be said of a subassembly, None where all of it is present and it is no suspect."""
    inside = _devices(stub, checked)
    names = {device.id: safe(device.name, _NAME) for device in checked.profile.devices}
    told = tuple(
        (verdict, tuple(names[one.device] for one in inside if one.verdict is verdict))
        for verdict in _URGENT
        if any(one.verdict is verdict for one in inside)
    )
    suspect = _suspected(stub.part, checked)
    if not told and not suspect:
        return None
    reasons = tuple(
        f"{names[one.device]}: {safe(one.reasons[0], 200)}"
        for one in inside
        if one.reasons and one.verdict in _URGENT and not one.charged_to
    )
    verdict = told[0][0] if told else Verdict.PRESENT
    return _Row(name=stub_name(stub), verdict=verdict, told=told, suspect=suspect, reasons=reasons)


_WORTH_NAMING = 0.1


def _suspected(part: Part | None, checked: Checked) -> str:
    if part is None or outcome(checked.findings) is not Outcome.WRONG:
        return ""
    chances = [one.probability for one in checked.suspects.parts if one.part == part.id and one.explains]
    return f"suspect, {percent(max(chances))}" if chances and max(chances) >= _WORTH_NAMING else ""


def _row_lines(row: _Row, *, reasons: bool) -> Iterator[Line]:
    said = "; ".join([*(f"{WORDS[verdict]} {', '.join(names)}" for verdict, names in row.told), *_also(row)])
    yield line(*_opening(row), f"  {said}", hang=2)
    if reasons:
        yield from (line("    ", (one, Style.FAINT), hang=4) for one in row.reasons)


def _opening(row: _Row) -> tuple[tuple[str, Style], ...]:
    """Sign and name; no tick for what is suspected, though all of it is there: that would read as a clean bill."""
    if not row.told:
        return ((f"~ {row.name}", Style.UNSEEN),)
    return ((f"{SIGNS[row.verdict]} {row.name}", STYLES[row.verdict]),)


def _also(row: _Row) -> list[str]:
    if not row.told:
        return [f"{row.suspect}; all its devices are present"]
    return [row.suspect] if row.suspect else []


def _joined(rows: Sequence[_Row], *, names: bool) -> Iterator[str | tuple[str, Style]]:
    """All of them in one paragraph: each verdict with its own devices, or with their number."""
    for at, row in enumerate(rows):
        yield (". " if at else "", Style.PLAIN)
        yield from _opening(row)
        told = [f"{WORDS[verdict]} {', '.join(named) if names else len(named)}" for verdict, named in row.told]
        yield f" {'; '.join(told) or row.suspect}"


def _kept(answer: Answer) -> Block:
    if not answer.kept:
        return Block(wordings=((),))
    whole = line((answer.kept, Style.PLAIN if answer.is_kept else Style.CAUTION), hang=2)
    if not answer.is_kept:  # what is to be done about it must stay
        return Block(wordings=((whole,),))
    return Block(wordings=((whole,), (line(f"{answer.kept.partition('. ')[0].rstrip('.')}.", hang=2),)), yields=(60,))
