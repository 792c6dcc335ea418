"""From captures, findings, suspects, plan and history to the one value that every renderer shows."""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch import __version__
from usbwatch.casebook import Story
from usbwatch.model import Capture, Coverage, Verdict
from usbwatch.profile import short
from usbwatch.show.checked import Checked
from usbwatch.show.report.blaming import basis_of, cause, no_cause, ruled_out, suspects
from usbwatch.show.report.building import blocks
from usbwatch.show.report.doing import cautions_of, hands, next_step, open_checks
from usbwatch.show.report.noticing import unit_notices
from usbwatch.show.report.quoting import quotes
from usbwatch.show.report.source import Asked, Source
from usbwatch.show.report.telling import events, money_facts, since_rows, since_title, wear_facts, without_money
from usbwatch.show.report.tokens import is_token
from usbwatch.show.report.value import Fact, Kind, Look, Report, Seen
from usbwatch.show.safe import safe
from usbwatch.show.since_view import changed_since
from usbwatch.show.verdict import Outcome, outcome, sentence
from usbwatch.show.words import counted, node_name, unit_name

__all__ = ["look_of", "made", "seen_rows", "unit_facts"]


def made(source: Source, asked: Asked) -> Report:
    """The report of one unit; ``source`` is redacted already where it is to be."""
    checked = source.localised.checked
    its = outcome(checked.findings)
    kind = Kind.HEALTHY if its is Outcome.WHOLE else Kind.FAULT
    changed = changed_since(source.since, checked.profile) if source.since is not None else ""
    return Report(
        kind=kind,
        heading=_heading(kind, checked, changed),
        title=unit_name(checked.capture.unit),
        label=safe(source.told.label if source.told is not None else checked.label, 60),
        made_at=asked.made_at,
        shown_at=asked.local(asked.made_at),
        made_by=f"usbwatch {__version__}",
        redacted=not asked.identify,
        outcome=its,
        verdict="; ".join(filter(None, [sentence(checked.findings), changed and f"not as at its baseline: {changed}"])),
        cause=cause(source.localised),
        no_cause=no_cause(checked),
        next_step=next_step(checked, money=asked.money),
        stops=tuple(safe(text, 300) for text in checked.plan.stops),
        notices=tuple(
            safe(text, 400) for text in (*checked.findings.notices, *unit_notices(source), *_by_capture_alone(source))
        ),
        unit=tuple(unit_facts(checked.capture, checked)),
        blocks=blocks(checked),
        hands=hands(source.localised),
        suspects=suspects(checked, money=asked.money),
        basis=basis_of(checked),
        ruled=ruled_out(source.localised),
        quotes=quotes(checked),
        since_title=since_title(source.since, asked.local),
        since=since_rows(source.since, checked.profile),
        wear=wear_facts(source.since, checked.profile),
        outside=tuple(_outside(checked)),
        events=events(_told(source, asked), checked.profile, asked.local),
        money=money_facts(source.told, checked.profile.money) if asked.money else (),
        coverage=seen_rows(checked.capture.coverage),
        looks=tuple(
            look_of(capture, digest, asked)
            for digest, capture in (
                *source.earlier,
                *zip(source.digests, (seen.capture for seen in source.localised.seen), strict=True),
            )
            if digest
        ),
        profile=_profile(checked),
        cautions=cautions_of(checked) if its is not Outcome.WHOLE else (),
    )


def _by_capture_alone(source: Source) -> list[str]:
    """How much of it rests on captures alone, where nothing is wrong."""
    given = {answer.check for seen in source.localised.seen for answer in seen.answers}
    still = len(open_checks(source.localised.checked, given))
    return (
        [f"Not tried by hand yet: {counted(still, 'hand check')}, named below; no capture can show what they would."]
        if still
        else []
    )


def _heading(kind: Kind, checked: Checked, changed: str) -> str:
    """What the report is: of one that is whole and not as it left, neither healthy nor faulty."""
    if kind is Kind.HEALTHY:
        return "report on a unit that came back" if changed else kind.value
    if outcome(checked.findings) is Outcome.NOT_ALL_SEEN:
        return "report, not all seen"
    missing = any(one.verdict is Verdict.MISSING for one in checked.findings.findings)
    return kind.value if missing else "fault report"


def _told(source: Source, asked: Asked) -> Story | None:
    return source.told if asked.money or source.told is None else without_money(source.told)


def _profile(checked: Checked) -> str:
    sealed = f", digest {short(checked.profile.digest)}" if checked.profile.digest else ""
    return f"{safe(checked.profile.id, 60)}{sealed}"


def unit_facts(capture: Capture, checked: Checked | None = None) -> Iterator[Fact]:
    """What the unit is, row by row; what is not known is left out."""
    unit = capture.unit
    yield Fact(name="Model", said=unit_name(unit))
    rows: list[tuple[str, str]] = []
    if checked is not None:
        variant = next((one.name for one in checked.profile.variants if one.id == checked.findings.variant), "")
        rows = [("Variant", variant), ("Profile", _profile(checked))]
    for name, said in (
        *rows,
        ("Serial number", unit.product_serial),
        ("Version", unit.product_version),
        ("Stock number", unit.product_sku),
        ("Board", f"{unit.board_vendor} {unit.board_name} {unit.board_version}"),
        ("Firmware", unit.bios_version),
    ):
        if said.strip():
            stands = ", replaced" if is_token(said.strip()) else ""
            yield Fact(name=f"{name}{stands}", said=safe(" ".join(said.split()), 120))


def _outside(checked: Checked) -> Iterator[str]:
    found = checked.findings
    for title, nodes in (
        ("helper device, not judged", found.external),
        ("inside, but not in the profile", found.unexpected),
        ("inside or outside is not known", found.unplaced),
    ):
        for node in nodes[:20]:
            yield f"{node_name(node)}: {title}"


def seen_rows(coverage: tuple[Coverage, ...]) -> tuple[Seen, ...]:
    """A row for each bus: whether it could be seen, and if not, why."""
    return tuple(
        Seen(
            bus=safe(one.bus, 20),
            state="seen" if one.state.seen else one.state.value,
            said=safe(_of_bus(one), 200),
        )
        for one in coverage
    )


def _of_bus(one: Coverage) -> str:
    said = one.why if not one.state.seen else counted(one.nodes, "node")
    unread = f"; {counted(one.unread, 'file')} not read" if one.unread else ""
    remedy = "; capturing as root would show it" if one.root_would_help else ""
    return f"{said}{unread}{remedy}"


def look_of(capture: Capture, digest: str, asked: Asked) -> Look:
    """What is told of a capture, so that it can be known again."""
    system = capture.system
    said = [f"{system.platform} {system.kernel}".strip(), *(["copied tree"] if system.source == "tree" else [])]
    said += ["as root"] if system.privileged else []
    said += ["virtual machine"] if system.virtual else []
    return Look(
        taken_at=safe(capture.taken_at, 40),
        shown_at=asked.local(capture.taken_at),
        digest=digest,
        system=safe(", ".join(said), 120),
        tool=safe(capture.tool, 40),
    )
