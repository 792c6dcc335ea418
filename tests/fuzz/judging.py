"""Targets: a capture of anything, judged and shown in every form; two of them compared; many of them learnt from."""

from __future__ import annotations

import json

from fuzz.files import captures_of, sealed_anew
from fuzz.structure import in_json
from fuzz.target import Broken, Target, clean, nothing_raw
from support.bench import PROFILE_TOML

from usbwatch.capture.saved import Saved, parse_saved
from usbwatch.cli.taking import local_time
from usbwatch.cli.weighing import weighed
from usbwatch.compare import changes
from usbwatch.drafting import draft, draft_of_many, layout_for, text_of
from usbwatch.drafting.learning import Source as Learning
from usbwatch.drafting.learning import learn
from usbwatch.drafting.updating import updated
from usbwatch.errors import BadCapture
from usbwatch.kit.summary import summary
from usbwatch.model import Profile
from usbwatch.onboard.answer import Answer, answer_page
from usbwatch.onboard.details import details_lines
from usbwatch.onboard.letters import console_line
from usbwatch.profile import fits, known, parse
from usbwatch.show import (
    Line,
    Seen,
    capture_view,
    changes_document,
    check_document,
    check_view,
    diff_view,
    json_text,
    localise_document,
    localise_view,
    plain,
)
from usbwatch.show.learnt_view import learnt_document, learnt_view
from usbwatch.show.report.comparing import compared
from usbwatch.show.report.document import report_document
from usbwatch.show.report.html import report_html
from usbwatch.show.report.making import made
from usbwatch.show.report.page import report_page
from usbwatch.show.report.picture import picture
from usbwatch.show.report.privacy import private, private_comparison
from usbwatch.show.report.source import Asked, Compared, Source
from usbwatch.show.report.table import report_table
from usbwatch.show.report.value import Report

__all__ = ["TARGETS"]

_SMALL = parse(PROFILE_TOML, "plover-small.toml")
_WIDTHS = (80, 24)
_ASKED = Asked(made_at="2026-03-02T10:00:00Z", local=local_time, identify=False, money=True)


def _read(data: bytes) -> Saved:
    return parse_saved(sealed_anew(data), "it")


def _profile_for(saved: Saved) -> Profile:
    fitting = [one for one in (_SMALL, *known()) if fits(one, saved.capture.unit)]
    return fitting[0] if fitting else next(one for one in known() if one.id == "generic-clamshell")


def _page(lines: list[Line]) -> None:
    for width in _WIDTHS:
        clean(plain(lines, width))


def _judged(data: bytes) -> None:
    saved = _read(data)
    profile = _profile_for(saved)
    seen = Seen(capture=saved.capture, path="it", when=local_time(saved.capture.taken_at), answers=())
    localised, _ = weighed([seen], profile, insisted=False)
    chances = [one.probability for one in localised.checked.suspects.parts]
    if not all(0 <= chance <= 1 for chance in chances):
        raise Broken(f"chances beyond their bounds: {chances}")
    _page(capture_view(saved.capture, "it"))
    _page(check_view(localised.checked, 80))
    clean(json_text(check_document(localised.checked)))
    _page(localise_view(localised, 80, full=True))
    clean(json_text(localise_document(localised)))
    _on_the_unit(localised)
    nothing_raw(summary(saved.capture, "it"))


def _on_the_unit(localised) -> None:  # type: ignore[no-untyped-def] # noqa: ANN001
    for width, height in ((80, 25), (40, 10)):
        page = answer_page(Answer(checked=localised.checked, money=True), width, height)
        if len(page) != height:
            raise Broken(f"a page of {len(page)} lines for a screen of {height}")
        clean("\n".join(console_line(one).text for one in page))
    clean("\n".join(one.text for one in details_lines(localised, 80, money=True)))


def _reported(data: bytes) -> None:
    saved = _read(data)
    seen = Seen(capture=saved.capture, path="it", when="", answers=())
    localised, _ = weighed([seen], _profile_for(saved), insisted=False)
    source = Source(localised=localised, digests=(saved.digest,))
    for one in (source, private(source)):
        _in_every_form(made(one, _ASKED))


def _in_every_form(report: Report) -> None:
    _page(report_page(report, 80))
    clean(json_text(report_document(report)))
    nothing_raw(report_html(report))
    nothing_raw(picture(report))
    for row in nothing_raw(report_table(report)).splitlines():
        if row.lstrip('"').startswith(("=", "+", "-", "@")):
            raise Broken(f"a spreadsheet would take this for a formula: {row[:80]!a}")


def _both(data: bytes) -> tuple[Saved, Saved]:
    """Two captures in one document: the first, and what the second has otherwise."""
    try:
        told = json.loads(data)
        before, after = told["before"], {**told["before"], **told["otherwise"]}
    except (ValueError, TypeError, KeyError, RecursionError):
        raise BadCapture("it", "is no pair") from None
    return _read(json.dumps(before).encode()), _read(json.dumps(after).encode())


def _pairs() -> list[bytes]:
    whole = [json.loads(one) for one in captures_of("larch-13-top-case-lost", "larch-13-healthy")]
    pairs = [(one, {"nodes": other["nodes"]}) for one, other in zip(whole[2:8], whole[8:], strict=True)]
    return [json.dumps({"before": one, "otherwise": other}).encode() for one, other in pairs]


def _compared(data: bytes) -> None:
    before, after = _both(data)
    found = changes(before.capture, after.capture)
    profile = _profile_for(after)
    for width in _WIDTHS:
        clean(plain(diff_view(found, width, profile), width))
    clean(json_text(changes_document(found)))
    source = Compared(
        before=before.capture,
        after=after.capture,
        digests=(before.digest, after.digest),
        changes=found,
        profile=profile,
    )
    _in_every_form(compared(private_comparison(source), _ASKED))
    seen = [Seen(capture=one.capture, path="it", when="", answers=()) for one in (before, after)]
    localised, _ = weighed(seen, profile, insisted=True)
    _page(localise_view(localised, 80, full=True))


def _drafted(data: bytes) -> None:
    """A draft of any capture is a sound profile, and takes what another capture has."""
    saved = _read(data)
    fresh = draft(saved.capture, layout_for(saved.capture.unit.chassis_type), today="2026-03-02")
    text = text_of(fresh)
    profile = parse(nothing_raw(text), "the draft")
    if updated(text, profile, fresh).text != text:
        raise Broken("a draft lacks something of itself")
    told = updated(PROFILE_TOML, _SMALL, fresh)
    parse(told.text, "the small profile, updated")
    clean(" ".join(told.remarks))


def _learnt(data: bytes) -> None:
    before, after = _both(data)
    both = [
        Learning(name=f"{number}.json", digest=one.digest, capture=one.capture)
        for number, one in enumerate((before, after))
    ]
    learnt = learn([*both, Learning(name="2.json", digest="sha256:2", capture=after.capture)])
    _page(learnt_view(learnt))
    clean(json_text(learnt_document(learnt)))
    if learnt.captures:
        text = text_of(draft_of_many(learnt, layout_for("10"), today="2026-03-02"))
        nothing_raw(text)
        parse(text, "what was learnt")


TARGETS = (
    Target(
        name="capture-judged",
        kept=12,
        run=_judged,
        seeds=lambda: captures_of("larch-13-top-case-lost", "larch-13-watched")[1::2],
        share=14,
        mutate=in_json,
        largest=16_384,
    ),
    Target(
        name="capture-reported",
        kept=8,
        run=_reported,
        seeds=lambda: captures_of("larch-13-top-case-lost")[1::2],
        share=8,
        mutate=in_json,
        largest=16_384,
    ),
    Target(name="captures-compared", kept=8, run=_compared, seeds=_pairs, share=6, mutate=in_json, largest=24_000),
    Target(
        name="capture-drafted",
        kept=15,
        run=_drafted,
        seeds=lambda: captures_of("larch-13-healthy"),
        share=6,
        mutate=in_json,
        largest=16_384,
    ),
    Target(name="captures-learnt", kept=15, run=_learnt, seeds=_pairs, share=5, mutate=in_json, largest=24_000),
)
