"""The page in a real browser, held to WCAG 2.2 by an open rule engine (axe-core) and by measures of our own."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.browser import Browser, browser
from support.make_readme import ROOT
from support.needs import needed_file, needed_tool
from support.report_samples import samples
from support.reports import HOSTILE, crowded, every_field, filled

from usbwatch.show.report.html import report_html
from usbwatch.show.report.picture import picture
from usbwatch.show.report.value import Kind, Report

pytestmark = pytest.mark.slow

NAMES = ("fault", "unseen", "healthy", "comparison", "history", "returned")
_AXE = ROOT / "build" / "axe" / "axe_playwright_python" / "axe.min.js"


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("reports")
    made = samples(folder)
    for name, report in (("crowded", crowded(12, 60)), ("full", every_field())):
        made[name] = folder / f"{name}.html"
        made[name].write_text(report_html(report), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def its() -> Iterator[Browser]:
    with browser() as one:
        yield one


def _words(its: Browser, selector: str) -> list[str]:
    found = its.run(
        f"[...document.querySelectorAll({selector!r})].map(e => e.textContent.trim().replace(/\\s+/g, ' '))"
    )
    assert isinstance(found, list)
    return found


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
@pytest.mark.parametrize("name", [*NAMES, "crowded", "full"])
def test_it_asks_for_nothing_complains_of_nothing_and_is_no_wider_than_the_screen(
    its: Browser, pages: dict[str, Path], name: str, width: int
) -> None:
    its.open(pages[name], width=width)
    assert its.requests == [pages[name].resolve().as_uri()]
    assert its.errors == []
    assert its.run("document.documentElement.scrollWidth") == width


def test_the_browser_itself_tells_of_requests_and_errors(its: Browser, tmp_path: Path) -> None:
    page = tmp_path / "bad.html"
    page.write_text("<img src=nothing.png><script>undefined_name()</script><p style='width:2000px'>x", encoding="utf-8")
    its.open(page, width=390)
    assert len(its.requests) == 2
    assert any("undefined_name" in one for one in its.errors)
    assert its.run("document.documentElement.scrollWidth") > 390


_VIOLATIONS = """axe.run(document, {resultTypes: ['violations']}).then(found =>
  found.violations.map(one => [one.id, one.nodes.slice(0, 3).map(node => node.html.slice(0, 200))]))"""


def _violations(its: Browser) -> list[list[object]]:
    engine = needed_file((str(_AXE),), "the PyPI package axe-playwright-python (see .ci/run)").read_text("utf-8")
    its.run(engine + ";0")
    found = its.run(_VIOLATIONS)
    assert isinstance(found, list)
    return found


@pytest.mark.parametrize(("width", "dark"), [(390, False), (1280, True)], ids=["narrow and light", "wide and dark"])
@pytest.mark.parametrize("name", [*NAMES, "full"])
def test_an_open_rule_engine_finds_no_violation(
    its: Browser, pages: dict[str, Path], name: str, width: int, *, dark: bool
) -> None:
    """axe-core with all of its rules, those for WCAG 2.2 and those for good practice."""
    its.open(pages[name], width=width, dark=dark)
    assert _violations(its) == []


def test_the_rule_engine_finds_what_is_missing(its: Browser, pages: dict[str, Path]) -> None:
    its.open(pages["fault"])
    its.run("document.querySelector('h1').remove(); document.documentElement.removeAttribute('lang')")
    assert {one for one, _ in _violations(its)} >= {"html-has-lang"}


_CONTRASTS = """(() => {
  const channels = c => (c.match(/[\\d.]+/g) || []).map(Number);
  const linear = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const luminance = c => { const [r, g, b] = channels(c);
    return .2126 * linear(r) + .7152 * linear(g) + .0722 * linear(b); };
  const clear = c => c === 'none' || c === 'transparent' || (channels(c).length > 3 && channels(c)[3] === 0);
  const around = e => { for (; e; e = e.parentElement) {
      const c = getComputedStyle(e).backgroundColor; if (!clear(c)) return c; }
    return 'rgb(255, 255, 255)'; };
  const under = t => { const box = t.getBoundingClientRect(), x = box.x + box.width / 2, y = box.y + box.height / 2;
    let found = around(t.closest('svg'));
    for (const r of t.closest('svg').querySelectorAll('rect')) {
      if (!(r.compareDocumentPosition(t) & Node.DOCUMENT_POSITION_FOLLOWING)) break;
      const b = r.getBoundingClientRect(), fill = getComputedStyle(r).fill;
      if (b.left <= x && x <= b.right && b.top <= y && y <= b.bottom && !clear(fill)) found = fill; }
    return found; };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let n; (n = walker.nextNode());) {
    const e = n.parentElement, style = getComputedStyle(e);
    if (!n.data.trim() || !e.getClientRects().length || e.closest('title, desc, style')) continue;
    const svg = e instanceof SVGElement, ink = svg ? style.fill : style.color, paper = svg ? under(e) : around(e);
    const [a, b] = [luminance(ink), luminance(paper)].sort((p, q) => q - p);
    found.push([(a + .05) / (b + .05), n.data.trim().slice(0, 40), ink, paper]);
  }
  return found; })()"""


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["full", "history", "returned", "unseen"])
def test_all_text_as_rendered_stands_out_from_what_is_behind_it(
    its: Browser, pages: dict[str, Path], name: str, width: int, *, dark: bool
) -> None:
    """At least 4.5:1, WCAG 2.2 success criterion 1.4.3."""
    its.open(pages[name], width=width, dark=dark)
    found = its.run(_CONTRASTS)
    assert len(found) > 100
    assert [one for one in found if one[0] < 4.5] == []
    brightness = its.run("getComputedStyle(document.querySelector('.ticket')).backgroundColor")
    assert (int(re.findall(r"\d+", brightness)[0]) < 128) == dark


def test_the_measure_of_contrast_finds_faint_text(its: Browser, pages: dict[str, Path]) -> None:
    its.open(pages["fault"])
    its.run(
        "document.querySelector('h1').style.color = '#ccc'; document.querySelector('svg.wide text').style.fill = '#ddd'"
    )
    assert len([one for one in its.run(_CONTRASTS) if one[0] < 4.5]) >= 2


def test_what_is_read_first_is_what_matters_first(its: Browser, pages: dict[str, Path]) -> None:
    its.open(pages["history"])
    assert _words(its, "h1, h2") == [
        "Fault report Fernhill Larch 13",
        "1 of 19 expected devices is impaired",
        "The unit, as it comes apart",
        "The unit",
        "Part by part",
        "Where the fault lies",
        "Ruled out",
        "When you work on it",
        "Evidence, as it was read",
        "What was done",
        "What the capture could see",
        "How this was made, and how to verify it",
    ]
    tops = its.run("[...document.querySelectorAll('h1, h2, h3, h4')].map(e => e.getBoundingClientRect().top)")
    first = its.run("document.querySelector('.next h3').getBoundingClientRect().top")
    assert first < 400
    assert sorted(tops[2:]) == sorted(tops)[2:]


@pytest.mark.parametrize("name", ["fault", "returned"])
@pytest.mark.parametrize(("width", "screens"), [(390, 1.1), (1280, 0.6)])
def test_verdict_cause_reason_and_next_step_stand_on_the_first_screen(
    its: Browser, pages: dict[str, Path], name: str, width: int, screens: float
) -> None:
    """390 by 844 and 1280 by 800 are common sizes of a phone's and a laptop's window: common practice, no source."""
    height = {390: 844, 1280: 800}[width]
    its.open(pages[name], width=width)
    assert its.run("document.querySelector('#verdict').getBoundingClientRect().bottom") < screens * height


_LINES = """[...document.querySelectorAll('.devices tbody th, .devices .state span')].map(e => {
  const range = document.createRange(); range.selectNodeContents(e);
  return [e.textContent.trim(), range.getClientRects().length]; })"""


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_no_short_word_is_broken_in_two(its: Browser, pages: dict[str, Path], width: int) -> None:
    its.open(pages["fault"], width=width)
    lines = its.run(_LINES)
    single = [one for one in lines if " " not in one[0]]
    assert len(single) > 8
    assert [one for one in single if one[1] > 1] == []


@pytest.mark.parametrize("name", ["fault", "full", "comparison"])
def test_everything_that_can_be_used_is_reached_with_the_tab_key_and_shows_it(
    its: Browser, pages: dict[str, Path], name: str
) -> None:
    its.open(pages[name])
    wanted = its.run("document.querySelectorAll('a[href], button, input, select, textarea, summary').length")
    assert wanted == (1 if name == "comparison" else 2)
    reached = []
    for _ in range(wanted):
        its.press("Tab", 9)
        told = its.run("(e => [e.tagName, getComputedStyle(e).outlineStyle, e.getBoundingClientRect().left >= 0])"
                       "(document.activeElement)")  # fmt: skip
        reached.append(told)
    assert reached == [["A", "solid", True], ["SUMMARY", "solid", True]][:wanted]


@pytest.mark.parametrize(("width", "shown"), [(390, "narrow"), (1280, "wide")])
def test_one_drawing_is_shown_by_the_width_of_the_screen(
    its: Browser, pages: dict[str, Path], width: int, shown: str
) -> None:
    its.open(pages["fault"], width=width)
    found = its.run("[...document.querySelectorAll('svg.drawing')].filter(e => e.getClientRects().length)"
                    ".map(e => e.getAttribute('class'))")  # fmt: skip
    assert [one.split()[1] for one in found] == [shown]
    its.look(media="print")
    assert its.run("getComputedStyle(document.querySelector('svg.wide')).display") == "block"


_OUTSIDE = """[...document.querySelectorAll('svg.drawing')].filter(s => s.getClientRects().length).flatMap(s => {
  const view = s.getBoundingClientRect(), inside = (a, b) => a.left >= b.left - 1 && a.right <= b.right + 1
    && a.top >= b.top - 1 && a.bottom <= b.bottom + 1;
  const homes = [...s.querySelectorAll('rect.box, rect.tab')].map(r => r.getBoundingClientRect());
  return [...s.querySelectorAll('text')].filter(t => { const b = t.getBoundingClientRect();
    return b.width && !(inside(b, view) && homes.some(h => inside(b, h))); }).map(t => t.textContent); })"""


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", ["fault", "crowded", "full"])
def test_in_its_own_typefaces_too_the_drawing_keeps_all_text_in_its_boxes(
    its: Browser, pages: dict[str, Path], name: str, width: int
) -> None:
    its.open(pages[name], width=width)
    assert its.run(_OUTSIDE) == []
    its.run("document.querySelectorAll('svg.drawing').forEach(e => e.style.fontFamily = 'DejaVu Sans')")
    assert its.run(_OUTSIDE) == []


def _pages_of(pdf: bytes, folder: Path) -> list[str]:
    file = folder / "report.pdf"
    file.write_bytes(pdf)
    tool = needed_tool("pdftotext", "poppler-utils")
    told = subprocess.run([tool, "-raw", "-enc", "UTF-8", file, "-"], check=True, capture_output=True, text=True).stdout
    return told.split("\f")[:-1]


_ROWS = (
    "[...document.querySelectorAll('tbody tr, .suspects > li, .events li, .stamp, .cautions li')].map(e => e.innerText)"
)


def _cut(its: Browser, sheets: list[str]) -> list[str]:
    """Rows whose words do not all stand on one sheet; words that are broken across lines are left out."""
    its.look(media="print")
    split = [set(sheet.split()) for sheet in sheets]
    rows = [{word for word in row.split() if word.isalnum() and word.isascii()} for row in its.run(_ROWS)]
    return [" ".join(sorted(row)) for row in rows if not any(row <= sheet for sheet in split)]


@pytest.mark.parametrize("paper", [(8.27, 11.69), (8.5, 11.0)], ids=["A4", "Letter"])
@pytest.mark.parametrize("name", [*NAMES, "crowded", "full"])
def test_printed_every_sheet_has_its_number_and_no_row_is_cut(
    its: Browser, pages: dict[str, Path], tmp_path: Path, name: str, paper: tuple[float, float]
) -> None:
    its.open(pages[name])
    sheets = _pages_of(its.pdf(width=paper[0], height=paper[1]), tmp_path)
    assert 1 <= len(sheets) <= 20
    for number, sheet in enumerate(sheets, 1):
        assert f"page {number} of {len(sheets)}" in sheet
    assert _cut(its, sheets) == []


def _wordy() -> Report:
    """A report whose every row is some lines high and has words that no other row has."""
    report = crowded(6, 40)
    blocks = []
    for block in report.blocks:
        told = [replace(one, reasons=(" ".join(f"{one.id}w{n}" for n in range(60)),)) for one in block.devices]
        blocks.append(replace(block, devices=tuple(told)))
    return replace(report, blocks=tuple(blocks))


def test_without_the_rule_that_keeps_rows_whole_the_measure_finds_cut_ones(its: Browser, tmp_path: Path) -> None:
    page, text = tmp_path / "wordy.html", report_html(_wordy())
    cut = {}
    for rule in ("avoid", "auto"):
        page.write_text(text.replace("break-inside: avoid", f"break-inside: {rule}"), encoding="utf-8")
        its.open(page)
        cut[rule] = _cut(its, _pages_of(its.pdf(), tmp_path))
    assert cut["avoid"] == []
    assert cut["auto"] != []


def test_details_that_somebody_closed_are_printed_all_the_same(
    its: Browser, pages: dict[str, Path], tmp_path: Path
) -> None:
    its.open(pages["fault"])
    its.run("document.querySelectorAll('details').forEach(e => e.open = false)")
    assert "PNP0C0A" not in its.run("document.body.innerText")
    assert "PNP0C0A" in " ".join(_pages_of(its.pdf(), tmp_path))


@pytest.mark.parametrize("kind", [Kind.FAULT, Kind.COMPARISON])
@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_string_in_every_field_runs_nothing_and_breaks_no_layout(
    its: Browser, tmp_path: Path, text: str, kind: Kind
) -> None:
    page = tmp_path / "hostile.html"
    page.write_text(report_html(filled(every_field(kind), text, ids=True)), encoding="utf-8")
    its.open(page, width=390)
    assert its.errors == []
    assert its.requests == [page.as_uri()]
    assert its.run("document.documentElement.scrollWidth") == 390
    assert its.run("getComputedStyle(document.querySelector('h1')).display") == "block"


def test_the_drawing_alone_is_shown_by_a_browser_light_and_dark(its: Browser, tmp_path: Path) -> None:
    page = tmp_path / "unit.svg"
    page.write_text(picture(crowded(9, 40)), encoding="utf-8")
    for dark in (False, True):
        its.open(page, dark=dark)
        assert its.errors == []
        assert len(its.requests) == 1
        fill = its.run("getComputedStyle(document.querySelector('rect.box')).fill")
        assert (int(json.loads(f"[{fill[4:-1]}]")[0]) < 128) == dark
