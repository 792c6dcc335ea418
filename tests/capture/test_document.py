"""Capture files: canonical bytes as RFC 8785 has them, nothing lost, and one sentence for what is no capture."""

from __future__ import annotations

import hashlib
import json
import os
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st
from support.any_capture import captures
from support.hostile import HOSTILE
from support.looking import look
from support.units import HERON

from usbwatch.capture import load, to_json
from usbwatch.capture.document import canonical, digest, document
from usbwatch.capture.saved import parse
from usbwatch.errors import BadCapture
from usbwatch.model import CAPTURE_SCHEMA, Capture, System, UnitStrings

_Tree = Callable[..., Path]


@pytest.fixture(scope="module")
def capture(built_tree: _Tree) -> Capture:
    return look(built_tree(HERON))


# --- Canonical form and digest: RFC 8785 ----------------------------------------------

_SAMPLES = [
    # RFC 8785 section 3.2.3, the strings of its sorting sample that have ASCII keys; and section 3.2.2.2.
    ({"1": "One", "\r": "Carriage Return"}, b'{"\\r":"Carriage Return","1":"One"}'),
    (
        {"string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/"},
        '{"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'.encode(),
    ),
    ({"b": [None, True, False], "a": {}}, b'{"a":{},"b":[null,true,false]}'),
]


@pytest.mark.parametrize(("plain", "expected"), _SAMPLES, ids=["order", "escapes", "literals"])
def test_canonical_bytes_are_those_of_the_standard(plain: dict[str, Any], expected: bytes) -> None:
    assert canonical(plain) == expected
    assert rfc8785.dumps(plain) == expected


@pytest.mark.parametrize("unit", ["healthy", "external-devices", "touchpad-enumeration-failure"])
def test_a_real_captures_canonical_bytes_are_the_reference_librarys(real_tree: _Tree, unit: str) -> None:
    plain: dict[str, Any] = document(look(real_tree(unit)))
    assert canonical(plain) == rfc8785.dumps(plain)


def test_the_digest_is_sha_256_over_the_canonical_form_without_itself(capture: Capture) -> None:
    plain: dict[str, Any] = json.loads(to_json(capture))
    told = plain.pop("digest")
    assert told == "sha256:" + hashlib.sha256(rfc8785.dumps(plain)).hexdigest()


def test_the_digest_does_not_hang_on_layout_or_order(capture: Capture) -> None:
    plain = json.loads(to_json(capture))
    turned = dict(reversed(plain.items()))
    assert parse(json.dumps(turned, indent=4).encode(), "turned") == capture


@pytest.mark.properties
class TestAnyCapture:
    """RFC 8785 sections 3.2.1 to 3.2.4: one value has one canonical form; and writing loses nothing."""

    @given(captures())
    def test_canonical_bytes(self, capture: Capture) -> None:
        plain: dict[str, Any] = document(capture)
        assert canonical(plain) == rfc8785.dumps(plain)

    @given(captures())
    def test_round_trip(self, capture: Capture) -> None:
        assert parse(to_json(capture).encode("utf-8"), "made up") == capture

    @given(captures())
    def test_written_again_it_is_the_same_file(self, capture: Capture) -> None:
        text = to_json(capture)
        assert to_json(parse(text.encode("utf-8"), "made up")) == text

    @given(st.text(st.characters(), max_size=40))
    def test_any_text_even_with_lone_surrogates_can_be_written(self, text: str) -> None:
        made = to_json(_bare(text))
        assert parse(made.encode("utf-8"), "made up").tool == text.encode("utf-8", "backslashreplace").decode()


def _bare(tool: str) -> Capture:
    system = System(platform="linux")
    return Capture(taken_at="", tool=tool, system=system, unit=UnitStrings(), coverage=(), nodes=())


# --- Round trips of whole files ---------------------------------------------------------


@pytest.mark.parametrize("archive", ["healthy", "battery-not-present", "touchpad-enumeration-failure"])
def test_a_capture_of_a_real_tree_comes_back_as_it_was(real_tree: _Tree, tmp_path: Path, archive: str) -> None:
    taken = look(real_tree(archive))
    kept = tmp_path / "kept.json"
    kept.write_text(to_json(taken), encoding="utf-8")
    assert load(str(kept)) == taken


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_file_shown_on_a_terminal_does_nothing_to_it(capture: Capture, tmp_path: Path, text: str) -> None:
    """Controls are those of ECMA-48, in seven and in eight bits; marks are Unicode's of the category Cf."""
    unit = replace(capture.unit, product_serial=text, board_name="Ä\x7f\x9b2J\u2066\U000e0041")
    written = to_json(replace(capture, unit=unit))
    kinds = {unicodedata.category(one) for one in written if one != "\n"}
    assert kinds & {"Cc", "Cf", "Cs", "Zl", "Zp"} == set()
    path = tmp_path / "capture.json"
    path.write_text(written, "utf-8")
    assert load(str(path)).unit.board_name == unit.board_name


def test_a_file_has_one_node_a_line(capture: Capture) -> None:
    lines = to_json(capture).splitlines()
    nodes = [line for line in lines if line.startswith('  {"')]
    assert len(nodes) == len(capture.nodes)
    assert json.loads(nodes[0].rstrip(","))["location"] == capture.nodes[0].location


# --- What is no capture -------------------------------------------------------------------


def _one_sentence(error: BadCapture, path: Path) -> str:
    sentence = str(error)
    assert sentence.startswith(f"capture {path}: ")
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert len(sentence) < 600
    return sentence


def _refused(path: Path) -> str:
    with pytest.raises(BadCapture) as caught:
        load(str(path))
    return _one_sentence(caught.value, path)


def _file(tmp_path: Path, content: str | bytes) -> Path:
    path = tmp_path / "capture.json"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return path


@pytest.mark.parametrize("share", [0.0001, 0.001, 0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99, 0.999])
def test_a_file_cut_short_is_told(tmp_path: Path, capture: Capture, share: float) -> None:
    whole = to_json(capture).encode("utf-8")
    assert "ends in the middle" in _refused(_file(tmp_path, whole[: int(len(whole) * share)]))


def test_a_file_cut_in_its_last_bytes_is_told(tmp_path: Path, capture: Capture) -> None:
    whole = to_json(capture).encode("utf-8")
    for cut in range(2, 12):
        _refused(_file(tmp_path, whole[:-cut]))
    assert load(str(_file(tmp_path, whole[:-1]))) == capture  # the last newline alone says nothing


def test_a_file_with_one_bit_changed_is_told(tmp_path: Path, capture: Capture) -> None:
    whole = to_json(capture).encode("utf-8")
    for place in range(7, len(whole), 997):
        spoiled = bytearray(whole)
        spoiled[place] ^= 0x01
        if json.loads(whole) != _maybe_json(bytes(spoiled)):
            _refused(_file(tmp_path, bytes(spoiled)))


def _maybe_json(content: bytes) -> object:
    try:
        return json.loads(content)
    except ValueError:
        return None


@pytest.mark.parametrize(
    "change",
    [
        lambda plain: plain.update(taken_at="1999-01-01T00:00:00Z"),
        lambda plain: plain["nodes"].pop(),
        lambda plain: plain["nodes"][0].update(rung="working!"),
        lambda plain: plain.update(digest="sha256:" + "0" * 64),
        lambda plain: plain.pop("digest"),
        lambda plain: plain.update(digest=7),
    ],
    ids=["another time", "a node less", "another rung", "another digest", "no digest", "a digest of a number"],
)
def test_an_altered_file_is_told(tmp_path: Path, capture: Capture, change: Callable[[Any], object]) -> None:
    plain = json.loads(to_json(capture))
    change(plain)
    assert "altered or damaged" in _refused(_file(tmp_path, json.dumps(plain)))


def _signed(capture: Capture, **changed: object) -> str:
    """A document with other content and a digest that fits it."""
    plain = {**json.loads(to_json(capture)), **changed}
    plain = {name: value for name, value in plain.items() if value is not ...}
    plain.pop("digest")
    plain["digest"] = digest(plain)
    return json.dumps(plain)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"schema": CAPTURE_SCHEMA + 1}, "use a newer usbwatch"),
        ({"schema": 0}, "schema 0"),
        ({"schema": -1}, "schema -1"),
        ({"schema": True}, 'has no "schema" number'),
        ({"schema": "1"}, 'has no "schema" number'),
        ({"schema": 1.5}, 'has no "schema" number'),
        ({"schema": ...}, 'has no "schema" number'),
        ({"format": "something-else"}, '"format" is not "usbwatch-capture"'),
        ({"format": ...}, '"format" is not "usbwatch-capture"'),
        ({"nodes": 7}, "$.nodes"),
        ({"nodes": ...}, "nodes"),
        ({"taken_at": None}, "$.taken_at"),
        ({"system": {}}, "platform"),
        ({"coverage": [{"bus": "usb", "state": "marvellous"}]}, "$.coverage[0].state"),
        ({"nodes": [{"bus": "usb", "location": "x", "kind": "device", "rung": 7}]}, "$.nodes[0].rung"),
        ({"nodes": [{"bus": "usb", "location": "x", "kind": "device", "rung": "bound"}] * 2}, "two nodes of one bus"),
        ({"episodes": [{"location": "", "trouble": "x", "count": "many"}]}, "$.episodes[0].count"),
        (
            {"nodes": [{"bus": "usb", "location": "x", "kind": "device", "rung": "bound", "facts": {"a": []}}]},
            "$.nodes",
        ),
    ],
)
def test_a_document_of_another_shape_is_told_with_its_place(
    tmp_path: Path, capture: Capture, changed: dict[str, object], told: str
) -> None:
    assert told in _refused(_file(tmp_path, _signed(capture, **changed)))


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xfe\x00",
        b"\xef\xbb\xbf{}",
        b"not json",
        b"null",
        b"[]",
        b'"usbwatch-capture"',
        b"7",
        b"{}",
        b'{"format": "usbwatch-capture", "schema": 1, "digest": "x", "n": 1e999}',
        b'{"format": "usbwatch-capture", "schema": 1, "a": "\\ud800"}',
        b"[" * 100_000,
        b'{"format": "usbwatch-capture", "schema": 1, "a":' + b"[" * 50_000 + b"]" * 50_000 + b"}",
        b"\x7fELF" + b"\0" * 64,
    ],
    ids=[
        "empty",
        "bytes",
        "byte order mark",
        "text",
        "null",
        "list",
        "string",
        "number",
        "empty object",
        "infinite number",
        "lone surrogate",
        "tower",
        "tower inside",
        "program",
    ],
)
def test_other_content_is_told(tmp_path: Path, content: bytes) -> None:
    _refused(_file(tmp_path, content))


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    assert "cannot be opened (No such file or directory)" in _refused(tmp_path / "nowhere.json")


def test_a_folder_is_told(tmp_path: Path) -> None:
    assert "is a folder" in _refused(tmp_path)


def test_a_pipe_is_told_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "no regular file" in _refused(tmp_path / "pipe")


def test_a_device_is_told() -> None:
    assert "no regular file" in _refused(Path("/dev/zero"))


def test_a_file_beyond_all_measure_is_told_without_reading_it(tmp_path: Path) -> None:
    path = tmp_path / "huge.json"
    with path.open("wb") as file:
        file.truncate(1 << 40)
    assert "is larger than" in _refused(path)


@pytest.mark.properties
class TestAnyBytes:
    """Whatever a file holds, ``load`` gives a capture or one sentence."""

    @given(st.binary(max_size=200))
    def test_noise(self, content: bytes) -> None:
        with pytest.raises(BadCapture):
            parse(content, "noise")

    @given(data=st.data())
    def test_a_document_with_anything_in_one_place(self, data: st.DataObject, capture: Capture) -> None:
        leaf = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5))
        value = data.draw(st.recursive(leaf, lambda inner: st.lists(inner, max_size=3), max_leaves=4))
        name = data.draw(
            st.sampled_from(("nodes", "coverage", "episodes", "system", "unit", "tool", "taken_at", "new"))
        )
        plain = {**json.loads(to_json(capture)), name: value}
        try:
            plain["digest"] = digest(plain)
        except (ValueError, RecursionError):
            plain["digest"] = ""
        try:
            parse(json.dumps(plain).encode("utf-8", "surrogatepass"), "made up")
        except BadCapture as error:
            _one_sentence(error, Path("made up"))


ODD_FILES = {
    "empty": (b"", "is empty; capture the unit again"),
    "blank": (b" \n", "is empty; capture the unit again"),
    "deep": (b"[" * 200_000, "is nested deeper than any capture"),
    "deep objects": (b'{"a":' * 200_000, "is nested deeper than any capture"),
    "cut": (b'{"format": "usbw', "is no JSON document and ends in the middle"),
}


@pytest.mark.parametrize(("content", "problem"), ODD_FILES.values(), ids=ODD_FILES)
def test_what_is_wrong_with_an_odd_file_is_said_in_the_readers_words(content: bytes, problem: str) -> None:
    with pytest.raises(BadCapture) as caught:
        parse(content, "a.json")
    assert problem in str(caught.value)
    assert "recursion" not in str(caught.value)
