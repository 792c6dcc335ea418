"""The page as a file: standards as html5lib reads them (WHATWG HTML), WCAG 2.2's formula of contrast, its own seal."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise
from xml.etree import ElementTree as ET

import html5lib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.examples import costly
from support.make_readme import ROOT
from support.reports import HOSTILE, crowded, every_field, filled, report_of

from usbwatch.model import Verdict
from usbwatch.show.report.colours import DARK, LIGHT
from usbwatch.show.report.html import report_html
from usbwatch.show.report.picture import picture
from usbwatch.show.report.sealing import seal_of
from usbwatch.show.report.value import Kind, Report
from usbwatch.show.words import WORDS

_HTML, _SVG = "{http://www.w3.org/1999/xhtml}", "{http://www.w3.org/2000/svg}"


def parsed(page: str) -> ET.Element:
    """The page, read by a parser that raises at the first breach of the standard."""
    tree = html5lib.HTMLParser(tree=html5lib.getTreeBuilder("etree"), strict=True).parse(page)
    assert isinstance(tree, ET.Element)
    return tree


def told(element: ET.Element) -> str:
    return " ".join("".join(element.itertext()).split())


def _tag(element: ET.Element) -> str:
    return str(element.tag).rpartition("}")[2]


def every(root: ET.Element, name: str) -> list[ET.Element]:
    return list(root.iter(f"{_HTML}{name}"))


@pytest.fixture(scope="module")
def fault() -> Report:
    return report_of("larch-13-top-case-lost")


def test_the_first_screen_tells_verdict_cause_reasons_and_what_to_do(fault: Report) -> None:
    root = parsed(report_html(fault))
    (stamp,) = [one for one in every(root, "section") if one.get("id") == "verdict"]
    said = told(stamp)
    assert fault.cause is not None
    assert fault.next_step is not None
    order = [
        fault.verdict, "Likeliest cause", fault.cause.name, "51% likely", "Why", *fault.cause.because, "Do next",
        fault.next_step.words, *fault.next_step.cautions,
    ]  # fmt: skip
    places = [said.index(one) for one in order]
    assert places == sorted(places)


def test_every_device_of_the_report_stands_in_a_table_with_its_word_and_its_reasons(fault: Report) -> None:
    rows = [told(row) for row in every(parsed(report_html(fault)), "tr")]
    for block in fault.blocks:
        for device in block.devices:
            (row,) = [row for row in rows if row.startswith(f"{device.name} {WORDS[device.verdict]}")]
            assert all(reason in row for reason in device.reasons)


def test_what_is_wrong_or_suspected_stands_above_what_is_well(fault: Report) -> None:
    root = parsed(report_html(fault))
    heads = [told(one) for one in every(root, "h3")]
    assert heads.index("Top case") < heads.index("Battery pack") < heads.index("Display assembly")


def test_a_stub_names_the_links_by_which_it_hangs(fault: Report) -> None:
    cuts = [told(one) for one in every(parsed(report_html(fault)), "p") if one.get("class") == "cut"]
    assert "Top-case flex suspect, 51% to Mainboard" in " ".join(cuts).replace("51%to", "51% to")


@pytest.mark.parametrize("kind", list(Kind))
def test_one_h1_no_level_is_skipped_and_every_section_that_has_a_name_is_tied_to_it(kind: Kind) -> None:
    root = parsed(report_html(every_field(kind)))
    levels = [int(one.tag[-1]) for one in root.iter() if re.fullmatch(rf"{_HTML}h[1-6]", str(one.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    ids = [one.get("id") for one in root.iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    named = {name for one in root.iter() for name in one.get("aria-labelledby", "").split()}
    assert named <= set(ids)


def test_every_table_has_a_caption_and_every_heading_cell_its_scope() -> None:
    root = parsed(report_html(every_field()))
    assert every(root, "table")
    for table in every(root, "table"):
        assert table.find(f"{_HTML}caption") is not None
        assert {one.get("scope") for one in table.iter(f"{_HTML}th")} == {"row", "col"}


def test_language_title_and_what_the_report_rests_on_stand_in_its_head(fault: Report) -> None:
    root = parsed(report_html(fault))
    assert root.get("lang") == "en"
    (title,) = every(root, "title")
    assert told(title) == "Fernhill Larch 13: missing-device report"
    meta = [(one.get("name"), one.get("content")) for one in every(root, "meta")]
    assert ("usbwatch-capture", fault.looks[0].digest) in meta
    assert ("generator", fault.made_by) in meta
    assert ("usbwatch-profile", fault.profile) in meta
    assert fault.looks[0].digest in told(every(root, "main")[0])


def test_the_last_line_seals_all_that_is_before_it(fault: Report) -> None:
    content = report_html(fault).encode()
    body, _, last = content.removesuffix(b"\n").rpartition(b"\n")
    digest = hashlib.sha256(body + b"\n").hexdigest()
    assert last == f"<!-- usbwatch-report sha256:{digest} -->".encode()
    seal = seal_of(content)
    assert seal is not None
    assert seal.holds


def _addresses(page: str) -> list[str]:
    outside = page.replace("http://www.w3.org/2000/svg", "")
    return re.findall(r"https?:|\bsrc\s*=|url\(|@import|@font-face|<script|<link|<iframe|<object|<form", outside)


@pytest.mark.parametrize("kind", list(Kind))
def test_the_file_names_nothing_to_fetch_and_has_no_script(kind: Kind) -> None:
    page = report_html(every_field(kind))
    assert _addresses(page) == []
    assert re.findall(r'href="([^"]*)"', page) == ["#verdict"]


_ALLOWED = """
html head meta title style body a div header h1 h2 h3 h4 p span strong em main section ul ol li dl dt dd table
caption thead tbody tr th td details summary code br svg desc rect g text path circle
"""


@cache
def _own_style() -> str | None:
    (style,) = every(parsed(report_html(every_field())), "style")
    return style.text


@pytest.mark.parametrize("kind", [Kind.FAULT, Kind.COMPARISON])
@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_string_in_every_field_stays_text(text: str, kind: Kind) -> None:
    page = report_html(filled(every_field(kind), text, ids=True))
    root = parsed(page)
    assert {_tag(one) for one in root.iter()} <= set(_ALLOWED.split())
    for one in root.iter():
        assert not [name for name in one.attrib if name.startswith("on") or name in ("autofocus", "src", "style")]
    assert [one.get("href") for one in every(root, "a")] == ["#verdict"]
    (style,) = every(root, "style")
    assert style.text == _own_style()
    assert len(page.encode()) < 600_000
    seal = seal_of(page.encode())
    assert seal is not None
    assert seal.holds


@pytest.mark.properties
@settings(deadline=None, max_examples=costly(8))
@given(st.text(st.characters(exclude_categories=[]), max_size=300), st.sampled_from(Kind))
def test_any_text_in_every_field_leaves_the_same_elements_in_the_same_order(text: str, kind: Kind) -> None:
    assert _shape(f"x{text}", kind) == _plain_shape(kind)


@cache
def _plain_shape(kind: Kind) -> list[str]:
    return _shape("x", kind)


def _shape(text: str, kind: Kind) -> list[str]:
    """The elements but those of the drawings, where a longer name takes more lines."""
    drawn = ("text", "rect", "g", "path", "circle", "svg", "title", "desc")
    return [
        tag for one in parsed(report_html(filled(every_field(kind), text))).iter() if (tag := _tag(one)) not in drawn
    ]


def test_templates_in_a_name_are_not_run() -> None:
    page = report_html(filled(every_field(), "{{7*7}}{% raw %}"))
    assert "{{7*7}}{% raw %}" in page


@pytest.mark.parametrize("kind", list(Kind))
def test_a_comparison_and_each_other_kind_names_itself(kind: Kind) -> None:
    (h1,) = every(parsed(report_html(replace(every_field(kind), heading=kind.value))), "h1")
    assert told(h1).lower().startswith(kind.value)


def test_the_biggest_report_stays_under_200_kilobytes() -> None:
    page = report_html(crowded(12, 60))
    assert page.count('class="state"') >= 60
    assert len(page.encode()) < 200_000


def test_no_device_of_any_state_is_told_by_colour_alone() -> None:
    report = crowded(12, 60)
    rows = [one for one in every(parsed(report_html(report)), "tr") if one.find(f"{_HTML}td/{_SVG}svg") is not None]
    shapes: dict[str, set[str]] = {}
    for row in rows:
        cell = row.find(f"{_HTML}td")
        assert cell is not None
        drawn = "".join(str(sorted(one.attrib.items())) for svg in cell.iter(f"{_SVG}svg") for one in svg)
        shapes.setdefault(told(cell), set()).add(drawn)
    assert set(shapes) == {WORDS[verdict] for verdict in Verdict}
    assert all(len(drawn) == 1 for drawn in shapes.values())
    assert len({next(iter(drawn)) for drawn in shapes.values()}) == len(Verdict)


def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_what_the_standard_says_of_black_and_white() -> None:
    """WCAG 2.2, success criterion 1.4.3: contrast ratios range from 1:1 to 21:1."""
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#777777", "#777777") == pytest.approx(1)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out_by_4_5_and_lines_by_3(colours: dict[str, str]) -> None:
    """WCAG 2.2, success criteria 1.4.3 (AA) and 1.4.11."""
    for ground in ("paper", "shade", "bench"):
        for text in ("ink", "faint", "wrong", "fine", "unseen"):
            assert _contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for line in ("rule", "focus"):
        assert _contrast(colours[line], colours["paper"]) >= 3, line


def _greys(colours: dict[str, str]) -> Iterator[float]:
    for name in ("wrong", "fine", "unseen"):
        yield _contrast(colours[name], "#ffffff")


def test_printed_in_grey_the_states_stay_dark_enough_to_read() -> None:
    assert all(one >= 4.5 for one in _greys(LIGHT))


def test_the_pictures_of_the_page_on_reports_are_there_small_and_the_drawing_is_of_today() -> None:
    page = (ROOT / "docs" / "report.md").read_text(encoding="utf-8")
    named = set(re.findall(r"\]\((pictures/[^)]+)\)", page))
    drawn_of_reports = {f"pictures/{one.name}" for one in (ROOT / "docs" / "pictures").glob("report-*")}
    assert named == {*drawn_of_reports, "pictures/unit.svg"}
    assert all((ROOT / "docs" / one).stat().st_size < 250_000 for one in named)
    drawn = (ROOT / "docs" / "pictures" / "unit.svg").read_text(encoding="utf-8")
    assert drawn == picture(report_of("larch-13-top-case-lost"))
