"""Hostile strings in every text field of a capture and of a profile, through every page and every form of a report."""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from support.hostile import HOSTILE as OF_DEVICES
from support.hostile import poisoned
from support.reports import HOSTILE as OF_PAGES

from usbwatch.capture.saved import load
from usbwatch.cli.weighing import weighed
from usbwatch.compare import changes
from usbwatch.model import Capture, Profile
from usbwatch.profile import find
from usbwatch.show import Localised, Seen, check_view, diff_view, json_text, localise_view, plain
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

pytestmark = pytest.mark.slow

_CAPTURES = Path(__file__).parents[3] / "captures"

_MORE = (
    *("=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", " =1+1", "\uff1d1+1", "\uff0b1", "\uff20A1", '=HYPERLINK("x","y")'),
    *("\x1b]8;;file:///x\x07link\x1b]8;;\x07", "\x1bPq#0\x1b\\", "\x1b[?1049h", "\x1b[200~rm\x1b[201~", "\x1b[31mred"),
    *("\x90q\x9c", "\x9d0;x\x9c", "\x8f\x8e", "\x7f\x7f", "\x00", "a\x00b", "\x08\x08\x08present", "\x0b\x0c"),
    *(
        "[red]x[/red]",
        "[/]",
        "[link=javascript:alert(1)]x[/link]",
        "%s%s%n",
        "${jndi:x}",
        "`id`",
        "$(id)",
        "; rm -rf /",
    ),
    *("../../../../etc/passwd", "C:\\con\\nul", "file:///etc/passwd", "data:text/html,<script>alert(1)</script>"),
    *("\u2028\u2029", "\u200e\u200f\u202a\u202c", "\u2067\u2069", "\u00ad\u034f\u115f", "\ufff9\ufffa\ufffb"),
    *("\U000e0001\U000e0041", "\ud83d", "\udc00\ud800", "\ufdd0\U0001ffff", "\u0e33" * 300, "<b>bold", "&#x1b;[2J"),
)
STRINGS = tuple(dict.fromkeys([*OF_DEVICES.values(), *OF_PAGES, *_MORE]))

_STRUCTURE = frozenset({"bus", "location", "locations", "functions", "function", "trouble", "taken_at", "platform"})
"""What says where a thing is and what it does: without it nothing would be found to be named."""
_OF_PROFILE = frozenset(
    {
        *("id", "kind", "within", "joins", "needs", "function", "locations", "identities", "reaches", "firmware_names"),
        *("without", "match", "generic", "digest", "path", "since", "until", "date", "how", "layout"),
    }
)
_MODEL = frozenset({"sys_vendor", "product_name"})


def test_there_are_at_least_sixty_of_them() -> None:
    assert len(STRINGS) >= 60


_WATCHES = load(str(_CAPTURES / "larch-13-watched.json")).watches


def _units(text: str, *, known: bool) -> tuple[Capture, Capture, Profile]:
    """The demo's unit, lost and well, all of whose words are ``text``; ``known``: it still says its model."""
    keep = _STRUCTURE | (_MODEL if known else frozenset())
    lost, well = (
        poisoned(replace(load(str(_CAPTURES / f"larch-13-{name}.json")), watches=_WATCHES), text, keep)
        for name in ("top-case-lost", "healthy")
    )
    return lost, well, poisoned(find("fernhill-larch-13"), text[:400], _OF_PROFILE)


def _localised(capture: Capture, profile: Profile) -> Localised:
    return weighed([Seen(capture=capture)], profile, insisted=True)[0]


def _asked(*, identify: bool) -> Asked:
    return Asked(made_at="2026-03-02T09:30:00Z", local=lambda at: at[:16], identify=identify, money=True)


def _reports(lost: Capture, well: Capture, profile: Profile, localised: Localised) -> list[Report]:
    digest = f"sha256:{64 * '0'}"
    source = Source(localised=localised, digests=(digest,))
    both = Compared(before=lost, after=well, digests=(digest, digest), changes=changes(lost, well), profile=profile)
    return [
        made(private(source), _asked(identify=False)),
        made(source, _asked(identify=True)),
        compared(private_comparison(both), _asked(identify=False)),
    ]


@pytest.mark.parametrize("number", range(len(STRINGS)))
def test_no_page_and_no_report_obeys_what_a_device_or_a_profile_says(number: int) -> None:
    lost, well, profile = _units(STRINGS[number], known=number % 2 == 0)
    localised = _localised(lost, profile)
    for lines in (
        check_view(localised.checked, 80),
        localise_view(localised, 80),
        diff_view(changes(lost, well), 80, profile),
    ):
        _prints(plain(lines, 80))
    for report in _reports(lost, well, profile, localised):
        _prints(plain(report_page(report, 80), 80))
        _is_inert(report_html(report))
        _is_a_drawing(picture(report))
        _is_a_table(report_table(report))
        text = json_text(report_document(report))
        assert text.isascii()
        json.loads(text)


def _prints(text: str) -> None:
    """Every line can be printed: no control, format or bidirectional character, and none wider than its page allows."""
    for row in text.split("\n"):
        assert row.isprintable(), ascii(row[:200])
        assert not any(unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Co", "Cn") for letter in row)


class _Inert(HTMLParser):
    """A page in which nothing runs and nothing is fetched."""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, Any]]) -> None:
        assert tag not in ("script", "img", "iframe", "object", "embed", "form", "base", "foreignobject")
        for name, value in attrs:
            assert not name.startswith("on"), (tag, name)
            assert name not in ("src", "srcset", "formaction", "xlink:href"), (tag, name)
            assert name != "href" or str(value).startswith("#"), (tag, value)


def _is_inert(page: str) -> None:
    _Inert().feed(page)
    page.encode("utf-8")


def _is_a_drawing(svg: str) -> None:
    root = ET.fromstring(svg)
    for one in root.iter():
        assert one.tag.rpartition("}")[2] in (
            *("svg", "title", "desc", "style", "g", "rect", "path", "line", "polyline", "polygon", "circle"),
            *("text", "tspan"),
        )
        assert not any(name.lower().startswith("on") or name.endswith("href") for name in one.attrib)


def _is_a_table(text: str) -> None:
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            folded = unicodedata.normalize("NFKC", cell).lstrip()
            assert not folded.startswith(("=", "+", "-", "@")), cell[:80]
            _prints(cell)


def test_a_check_of_what_is_safe_would_fail_for_what_is_not() -> None:
    """The checks above can fail."""
    for check, bad in (
        (_prints, "a\x1b[2J"),
        (_is_inert, "<p onclick=x>"),
        (_is_inert, "<script>1</script>"),
        (_is_a_drawing, '<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>'),
        (_is_a_table, "=1+1\r\n"),
    ):
        with pytest.raises(AssertionError):
            check(bad)
