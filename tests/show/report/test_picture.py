"""The drawing, measured: what stands where is read from the SVG itself, text taken as wide as its widest letters."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.examples import costly
from support.reports import HOSTILE, crowded, every_field, filled, report_of

from usbwatch.model import Verdict
from usbwatch.show.report.letters import fitted, settable, text_width
from usbwatch.show.report.picture import NARROW_WIDTH, WIDE_WIDTH, picture

_SVG = "{http://www.w3.org/2000/svg}"
_WIDTHS = (NARROW_WIDTH, WIDE_WIDTH)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Field:
    """A rectangle that something takes."""

    x: float
    y: float
    right: float
    bottom: float
    words: str = ""
    style: str = ""

    def overlaps(self, other: _Field) -> bool:
        """Whether they share more than an edge."""
        across = min(self.right, other.right) - max(self.x, other.x)
        return across > 0.01 and min(self.bottom, other.bottom) - max(self.y, other.y) > 0.01

    def holds(self, other: _Field) -> bool:
        """Whether the other lies inside."""
        beside = self.x <= other.x + 0.01 and other.right <= self.right + 0.01
        return beside and self.y <= other.y + 0.01 and other.bottom <= self.bottom + 0.01


def _size(style: str) -> float:
    sizes = {"heading": 17.0, "title": 14.0, "small": 11.5, "word": 11.5}
    return next((sizes[one] for one in style.split() if one in sizes), 13.0)


def _texts(root: ET.Element) -> list[_Field]:
    found = []
    for one in root.iter(f"{_SVG}text"):
        style, words = one.get("class", ""), one.text or ""
        size = _size(style)
        width = text_width(words, size, bold=bool({"strong", "title", "heading"} & set(style.split())))
        x, y = float(one.get("x", "")), float(one.get("y", ""))
        left = x - width if one.get("text-anchor") == "end" else x
        found.append(
            _Field(x=left, y=y - 0.8 * size, right=left + width, bottom=y + 0.25 * size, words=words, style=style)
        )
    return found


def _rects(root: ET.Element, *kinds: str) -> list[_Field]:
    found = []
    for one in root.iter(f"{_SVG}rect"):
        style = one.get("class", "")
        if set(kinds) & set(style.split()):
            x, y, width, height = (float(one.get(name, "0")) for name in ("x", "y", "width", "height"))
            found.append(_Field(x=x, y=y, right=x + width, bottom=y + height, style=style))
    return found


def _lines(root: ET.Element) -> list[_Field]:
    """Each straight piece of each link's line, as a field of no width."""
    found = []
    for one in root.iter(f"{_SVG}path"):
        if "line" in one.get("class", "").split():
            corners = [tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", one.get("d", ""))]
            for (x, y), (right, bottom) in pairwise(corners):
                found.append(_Field(x=min(x, right), y=min(y, bottom), right=max(x, right), bottom=max(y, bottom)))
    return found


def _near(fields: list[_Field]) -> Iterator[tuple[_Field, _Field]]:
    """All pairs that share some height."""
    falling = sorted(fields, key=lambda one: one.y)
    for number, one in enumerate(falling):
        for other in falling[number + 1 :]:
            if other.y >= one.bottom:
                break
            yield one, other


def _faults(svg: str) -> list[str]:
    """What overlaps, crosses, or sticks out."""
    root = ET.fromstring(svg)
    _, _, width, height = map(float, root.get("viewBox", "").split())
    view = _Field(x=0, y=0, right=width, bottom=height)
    boxes, tabs, texts = _rects(root, "box"), _rects(root, "tab"), _texts(root)
    faults = [f"outside: {one}" for one in (*boxes, *tabs, *texts, *_lines(root)) if not view.holds(one)]
    faults += [f"boxes overlap: {a} {b}" for a, b in combinations([*boxes, *tabs], 2) if a.overlaps(b)]
    faults += [f"texts overlap: {a} {b}" for a, b in _near(texts) if a.overlaps(b)]
    homes = [*boxes, *tabs]
    for one in texts:
        if "heading" not in one.style and not any(home.holds(one) for home in homes):
            faults.append(f"sticks out of its box: {one}")
    grown = [replace(one, x=one.x - 1, right=one.right + 1, y=one.y - 1, bottom=one.bottom + 1) for one in _lines(root)]
    shrunk = [replace(one, x=one.x + 2, right=one.right - 2, y=one.y + 2, bottom=one.bottom - 2) for one in homes]
    faults += [f"line crosses: {line} {box}" for line in grown for box in shrunk if line.overlaps(box)]
    for badge in _rects(root, "badge", "section"):
        if not any(box.holds(badge) for box in boxes):
            faults.append(f"sticks out of its box: {badge}")
    return faults


@pytest.mark.parametrize("width", _WIDTHS)
@pytest.mark.parametrize("blocks", range(3, 13))
@pytest.mark.parametrize("chain", [2, 3, 99])
def test_nothing_overlaps_and_nothing_sticks_out_with_3_to_12_subassemblies_and_60_devices(
    width: int, blocks: int, chain: int
) -> None:
    assert _faults(picture(crowded(blocks, 60, chain=chain), width)) == []


def test_the_measure_itself_finds_faults() -> None:
    svg = picture(report_of("larch-13-top-case-lost"))
    assert _faults(svg) == []
    moved = re.sub(r'(<rect class="box[^"]*" x=)"8"', r'\1"108"', svg, count=1)
    assert any("boxes overlap" in one for one in _faults(moved))
    assert any("texts overlap" in one for one in _faults(svg.replace("Internal hub", "Internal hub, a long one")))
    assert any("outside" in one for one in _faults(svg.replace('viewBox="0 0 820', 'viewBox="0 0 700')))
    bent = re.sub(r'(<path class="line[^"]*" d="M[\d.]+ [\d.]+L)[\d.]+', r"\g<1>800", svg)
    assert any("line crosses" in one for one in _faults(bent))


@pytest.mark.parametrize("width", _WIDTHS)
def test_blocks_that_hang_in_a_chain_of_twelve_or_in_a_ring_are_drawn_once_each(width: int) -> None:
    chain = crowded(12, 30, chain=1)
    first, *others = chain.blocks
    ring = replace(chain, blocks=(replace(first, toward=others[-1].id), *others))
    for report in (chain, ring):
        svg = picture(report, width)
        assert _faults(svg) == []
        assert len(_rects(ET.fromstring(svg), "box")) == 12


@pytest.mark.parametrize("width", _WIDTHS)
def test_every_device_stands_in_it_with_its_word(width: int) -> None:
    report = report_of("larch-13-top-case-lost")
    told = [one.words for one in _texts(ET.fromstring(picture(report, width)))]
    whole = " ".join(told)
    for block in report.blocks:
        assert block.name.upper() in whole
        for device in block.devices:
            assert all(word in whole for word in device.name.split())
    every = [device.verdict for block in report.blocks for device in block.devices]
    assert told.count("MISSING") == every.count(Verdict.MISSING) == 3
    assert told.count("IMPAIRED") == every.count(Verdict.IMPAIRED) == 1
    assert told.count("present") == every.count(Verdict.PRESENT)


def test_the_root_is_the_mainboard_and_the_battery_pack_hangs_on_the_top_case() -> None:
    """In the clamshells of the demo: common practice of the trade, no source."""
    root = ET.fromstring(picture(report_of("larch-13-top-case-lost"), NARROW_WIDTH))
    lefts = {one.words: one.x for one in _texts(root) if one.style == "title"}
    assert lefts["MAINBOARD"] < lefts["TOP CASE"] < lefts["BATTERY PACK"]
    assert lefts["TOP CASE"] == lefts["DISPLAY ASSEMBLY"]


def test_the_likeliest_cause_is_named_and_outlined() -> None:
    root = ET.fromstring(picture(report_of("larch-13-top-case-lost")))
    (tab,) = _rects(root, "likeliest")
    told = [one.words for one in _texts(root) if tab.holds(one)]
    assert told == ["Top-case flex", "likeliest cause, 51%"]
    assert sum("suspect, " in one.words for one in _texts(root)) == 4  # top case, mainboard, and a section of each


def test_a_healthy_unit_has_no_suspect_in_it() -> None:
    svg = picture(report_of("larch-13-healthy"))
    assert "suspect" not in svg.partition("</style>")[2]


def test_a_report_without_subassemblies_says_so() -> None:
    svg = picture(replace(report_of("larch-13-healthy"), blocks=()))
    assert "nothing to draw" in svg
    assert _faults(svg) == []


def test_it_has_a_title_and_a_description_and_asks_for_nothing() -> None:
    svg = picture(report_of("larch-13-top-case-lost"))
    root = ET.fromstring(svg)
    ids = root.get("aria-labelledby", "").split()
    assert [root.find(f"{_SVG}{tag}").get("id") for tag in ("title", "desc")] == ids  # type: ignore[union-attr]
    assert root.get("role") == "img"
    assert not re.search(r"https?:|href|src=|url\(|@import", svg.replace("http://www.w3.org/2000/svg", ""))


@pytest.mark.parametrize("ids", [False, True], ids=["names", "ids too"])
@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
@pytest.mark.parametrize("width", _WIDTHS)
def test_a_hostile_string_in_every_field_leaves_well_formed_xml_that_keeps_its_layout(
    text: str, width: int, *, ids: bool
) -> None:
    svg = picture(filled(every_field(), text, ids=ids), width)
    root = ET.fromstring(svg.encode())
    assert {one.tag.removeprefix(_SVG) for one in root.iter()} <= {
        *("svg", "title", "desc", "style", "rect", "g", "text", "path", "circle"),
    }
    assert not [name for one in root.iter() for name in one.attrib if name.startswith("on") or "href" in name]
    assert _faults(svg) == []


@st.composite
def _units(draw: st.DrawFn) -> tuple[int, int, int, str]:
    """Blocks, devices, how often a block hangs on the one before, and what every name begins with."""
    name = draw(st.text(st.characters(exclude_categories=[]), max_size=60))
    return draw(st.integers(1, 14)), draw(st.integers(0, 70)), draw(st.integers(1, 5)), name


@pytest.mark.properties
@settings(deadline=None, max_examples=costly(12))
@given(_units(), st.sampled_from((320, NARROW_WIDTH, 759, 760, WIDE_WIDTH, 1200)))
def test_any_unit_with_any_names_is_drawn_without_faults(unit: tuple[int, int, int, str], width: int) -> None:
    blocks, devices, chain, name = unit
    assert _faults(picture(crowded(blocks, devices, chain=chain, name=name), width)) == []


@pytest.mark.properties
@given(st.text(max_size=200), st.floats(40, 400), st.integers(1, 3))
def test_a_text_is_broken_into_lines_that_fit_and_is_cut_only_with_a_sign_of_it(
    text: str, room: float, lines: int
) -> None:
    found = fitted(text, room, 13, lines=lines)
    assert len(found) <= lines
    for line in found:
        assert text_width(line, 13) <= room or len(line.rstrip("…")) <= 1
    kept = "".join("".join(found).split())
    whole = "".join(settable(text).split())
    assert kept == whole or (kept.endswith("…") and whole.startswith(kept[:-1]))
