"""One check, from what was asked for to its result, and that as a page or as a document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.answers import answers
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.cli.unit.checking import WeighedUnit
    from usbwatch.model import Answer, Capture, Experience, Findings, Profile
    from usbwatch.model.history import Unit
    from usbwatch.show import Checked, Line
    from usbwatch.show.json_values import Json

__all__ = ["CheckRequest", "CheckResult", "checked", "code_of", "document_of", "page_of", "result_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRequest:
    """What was asked for on the command line."""

    root: str | None
    log: str | None
    through: str | None
    profile: str | None
    given: tuple[tuple[str, bool], ...]
    book: str | None
    as_json: bool
    may_ask: bool
    """Whether a person may be asked which profile is meant; not of several captures, which may be worked on apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult:
    """What one argument came to."""

    checked: Checked
    unit: Unit | None = None
    """Where the argument named a unit of the casebook."""
    weighed: WeighedUnit | None = None
    """What its history came to."""


def result_of(path: str | None, request: CheckRequest) -> CheckResult:
    """What the capture or unit that an argument names comes to; None: this machine, or a copied tree.

    Raises an ``UsbwatchError`` for what cannot be read, and click's ``UsageError`` for what does not go together.
    """
    from usbwatch.cli.taking import taken
    from usbwatch.cli.unit.checking import named_unit, weighed_unit

    if path is None:
        return _of_capture(taken(request.root, request.log, request.through), path, request)
    with named_unit(path, request.book) as found:
        if found is not None:
            _refuse_answers(path, request)
            weighed = weighed_unit(*found, request.profile)
            return CheckResult(checked=weighed.localised.checked, unit=found[1], weighed=weighed)
    return _of_capture(None, path, request)


def _refuse_answers(label: str, request: CheckRequest) -> None:
    if request.given:
        raise click.UsageError(
            f"what was established of a unit is recorded first: usbwatch unit answer {typed(label)} …"
        )


def _of_capture(capture: Capture | None, path: str | None, request: CheckRequest) -> CheckResult:
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.taking import loaded
    from usbwatch.cli.unit.experience import shop_experience

    if capture is None:
        assert path is not None
        capture = loaded(path)
    profile = chosen(capture, request.profile, may_ask=request.may_ask and path != "-")
    result = checked(
        capture,
        profile,
        answers(request.given, profile),
        insisted=request.profile is not None,
        experience=shop_experience(profile, request.book),
        for_page=not request.as_json,
    )
    return CheckResult(checked=result)


def checked(
    capture: Capture,
    profile: Profile,
    established: Sequence[Answer] = (),
    *,
    insisted: bool = False,
    experience: Experience | None = None,
    for_page: bool = False,
) -> Checked:
    """Compare, localise and plan: all that one check comes to.

    ``insisted``: somebody named the profile. ``experience`` is what the shop's closed cases come to for it.
    ``for_page``: the page of a unit with nothing wrong has no suspects, so none are worked out; three tenths of a run
    would go into that, most of it imports.
    """
    from usbwatch.compare import findings
    from usbwatch.show import Checked

    found = findings(capture, profile, tuple(established), insisted=insisted)
    if for_page and _has_nothing_wrong(found, capture):
        from usbwatch.show.checked import NOT_WORKED_OUT

        return Checked(capture=capture, profile=profile, findings=found, suspects=NOT_WORKED_OUT)

    from usbwatch.localise import believe, suspects_of
    from usbwatch.model import Look
    from usbwatch.plan import plan_and_repair

    beliefs = believe(profile, (Look(findings=found),), experience=experience)
    told, repair = plan_and_repair(beliefs, found)
    return Checked(
        capture=capture,
        profile=profile,
        findings=found,
        suspects=suspects_of(beliefs),
        plan=told,
        repair=repair,
    )


def _has_nothing_wrong(found: Findings, capture: Capture) -> bool:
    """Whether nothing that was found, established or watched speaks against any part: then there is nothing to do."""
    from usbwatch.model import Symptom
    from usbwatch.show.verdict import Outcome, outcome

    if outcome(found) is Outcome.WRONG or found.losses or found.answers or found.other_model or capture.watches:
        return False
    return all(one.symptom in (Symptom.WORKING, Symptom.UNSEEN) and not one.came_and_went for one in found.findings)


def page_of(result: CheckResult) -> list[Line]:
    """The result as a page for a person."""
    from usbwatch.cli.screen import page_width
    from usbwatch.cli.taking import local_time
    from usbwatch.show import check_view

    above: list[Line] = []
    if result.unit is not None and result.weighed is not None:
        above = _unit_lines(result.unit, result.weighed, page_width())
    return [*above, *check_view(result.checked, page_width(), local_time(result.checked.capture.taken_at))]


def _unit_lines(unit: Unit, its: WeighedUnit, width: int) -> list[Line]:
    """What goes before the page about a unit's last capture: the unit, its baseline, and what was done since."""
    from usbwatch.cli.unit.checking import claim_lines, noted_lines, since_lines
    from usbwatch.show.lines import BLANK
    from usbwatch.show.unit_view import unit_head

    return [*unit_head(unit, its.told, width), *claim_lines(its.told), *since_lines(its), *noted_lines(its), BLANK]


def code_of(result: CheckResult) -> int:
    """The exit code of this result alone."""
    from usbwatch.show import outcome

    return exits.of_outcome(outcome(result.checked.findings).value)


def document_of(result: CheckResult) -> dict[str, Json]:
    """The result as a JSON document: ``usbwatch-check``, and for a unit what its casebook adds."""
    from usbwatch.show import check_document
    from usbwatch.show.since_view import since_value
    from usbwatch.show.unit_document import unit_value

    document = check_document(result.checked)
    if result.unit is None or result.weighed is None:
        return document
    since = result.weighed.since
    return {
        **document,
        "casebook_unit": unit_value(result.unit),
        "since_baseline": since_value(since) if since is not None else None,
    }
