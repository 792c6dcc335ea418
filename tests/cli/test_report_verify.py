"""``usbwatch report --verify`` through the real command: unaltered, altered, not a report at all."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import os
import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import rfc8785

from usbwatch.capture import to_json
from usbwatch.capture.saved import load as load_capture
from usbwatch.cli import main
from usbwatch.cli.delivering import FORMS
from usbwatch.errors import BadReport
from usbwatch.show.report.sealing import sealed
from usbwatch.show.report.verifying import verified

_SHIPPED = Path(__file__).parents[2] / "captures"
_LOST, _HEALTHY = str(_SHIPPED / "larch-13-top-case-lost.json"), str(_SHIPPED / "larch-13-healthy.json")

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """The command in an empty folder: exit code, output and messages with line breaks folded."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "80")

    def run(*words: str) -> tuple[int, str, str]:
        code = main(["report", *words])
        shown = capsys.readouterr()
        assert "Traceback" not in shown.err
        return code, " ".join(shown.out.split()), " ".join(shown.err.split())

    return run


@pytest.fixture(params=["text", "json"])
def report(request: pytest.FixtureRequest, run: Run) -> str:
    """The name of a report in the folder, as text and as JSON."""
    assert run(_LOST, "--format", request.param, "-o", "report")[0] == 10
    return "report"


def _page() -> bytes:
    """A sealed page as an HTML renderer makes it; its words do not matter to the seal."""
    digest = json.loads(Path(_LOST).read_text(encoding="utf-8"))["digest"]
    body = (
        f'<!doctype html>\n<html><head><meta name="usbwatch-capture" content="{digest}"></head><body>\n'
        "<p>usbwatch</p>\n</body></html>"
    )
    return sealed(body, "html").encode()


def test_a_report_as_it_was_made_and_its_capture_belong_together(run: Run, report: str) -> None:
    code, out, _ = run("--verify", report, _LOST)
    assert code == 0
    assert "report is unaltered since it was sealed" in out
    assert "the report names it as one that it rests on" in out
    assert "A digest is no signature: whoever alters a report can seal it again." in out


def test_a_page_and_its_capture_belong_together_though_markup_breaks_the_digest(run: Run) -> None:
    Path("page.html").write_bytes(_page())
    assert run("--verify", "page.html", _LOST)[0] == 0
    assert run("--verify", "page.html", _HEALTHY)[0] == 10


def test_every_format_that_carries_a_seal_is_verified(run: Run) -> None:
    """Of the renderers that are there."""
    has_html = importlib.util.find_spec("usbwatch.show.report.html") is not None
    for form in [form for form in FORMS if form != "csv" and (form != "html" or has_html)]:
        run(_LOST, "--format", form, "-o", form)
        assert run("--verify", form, _LOST)[0] == 0, form


def test_another_capture_does_not_belong_to_it(run: Run, report: str) -> None:
    code, out, _ = run("--verify", report, _LOST, _HEALTHY)
    assert code == 10
    assert "larch-13-healthy.json does NOT belong to this report" in out


def test_a_capture_that_was_altered_is_told(run: Run, report: str) -> None:
    Path("altered.json").write_text(Path(_LOST).read_text(encoding="utf-8").replace("LG-0001-DEMO", "LG-0009-DEMO"))
    code, out, _ = run("--verify", report, "altered.json")
    assert code == 10
    assert "altered.json has been altered since it was captured" in out


def test_an_altered_word_is_told(run: Run, report: str) -> None:
    content = Path(report).read_text(encoding="utf-8")
    assert "Touchpad" in content
    Path(report).write_text(content.replace("Touchpad", "Trackpad", 1), encoding="utf-8")
    code, out, _ = run("--verify", report)
    assert (code, "report is NOT as it was made" in out) == (10, True)


def test_every_single_byte_change_of_a_text_report_is_told(run: Run) -> None:
    run(_LOST, "--format", "text", "-o", "report")
    _each_change("report", lambda _changed: False)


def test_every_single_byte_change_of_a_json_report_is_told_unless_it_says_the_same(run: Run) -> None:
    """White space between tokens says nothing in JSON (RFC 8259 section 2)."""
    run(_LOST, "--format", "json", "-o", "report")
    content = Path("report").read_bytes()
    same = json.loads(content)

    def says_the_same(changed: bytes) -> bool:
        try:
            return bool(json.loads(changed) == same)
        except ValueError:
            return False

    _each_change("report", says_the_same)


def _each_change(name: str, may_hold: Callable[[bytes], bool]) -> None:
    content = Path(name).read_bytes()
    assert verified(content, name).holds
    places = random.Random(8785).sample(range(len(content)), 300) + list(range(len(content) - 90, len(content)))
    for place in places:
        for bit in (0, 5, 7):
            changed = content[:place] + bytes([content[place] ^ 1 << bit]) + content[place + 1 :]
            try:
                holds = verified(changed, name).holds
            except BadReport:
                continue
            assert not holds or may_hold(changed), (place, bit)


def test_the_digest_of_a_json_report_is_that_of_an_independent_canonical_form(run: Run) -> None:
    """RFC 8785 as the package ``rfc8785`` writes it."""
    import hashlib

    run(_LOST, "--format", "json", "-o", "report.json")
    document = json.loads(Path("report.json").read_text(encoding="utf-8"))
    told = document.pop("digest")
    assert told == "sha256:" + hashlib.sha256(rfc8785.dumps(document)).hexdigest()


def test_a_name_that_is_given_twice_is_told(run: Run) -> None:
    """Else a reader that takes the first of both would show what the digest does not cover (RFC 8259 section 4)."""
    run(_LOST, "--format", "json", "-o", "report")
    Path("report").write_text(Path("report").read_text().replace("{", '{"verdict": "all is well",', 1))
    assert run("--verify", "report")[0] == 10


def test_line_ends_that_mail_changed_are_told_with_a_hint(run: Run) -> None:
    run(_LOST, "--format", "text", "-o", "report.txt")
    for name, content in (("report.txt", Path("report.txt").read_bytes()), ("page.html", _page())):
        Path(name).write_bytes(content.replace(b"\n", b"\r\n"))
        code, out, _ = run("--verify", name)
        assert code == 10
        assert "nothing but the ends of its lines differs, as mail programs change them" in out


def test_a_page_that_a_browser_saved_anew_is_told_with_a_hint(run: Run) -> None:
    Path("page.html").write_bytes(_page().replace(b"<!doctype html>", b"<!DOCTYPE html>"))
    code, out, _ = run("--verify", "page.html")
    assert (code, "or a browser saved it anew" in out) == (10, True)
    Path("page.html").write_bytes(_page().rpartition(b"<!--")[0])
    code, out, _ = run("--verify", "page.html")
    assert (code, "the seal at its end is gone" in out) == (10, True)


def test_whoever_seals_again_is_not_found_out_and_that_is_said(run: Run) -> None:
    run(_LOST, "--format", "text", "-o", "report.txt")
    body = "".join(Path("report.txt").read_text(encoding="utf-8").splitlines(keepends=True)[:-1])
    Path("report.txt").write_text(sealed(body.replace("MISSING", "present"), "text"), encoding="utf-8")
    code, out, _ = run("--verify", "report.txt")
    assert (code, "can seal it again" in out) == (0, True)


def test_a_table_is_told_to_carry_no_seal(run: Run) -> None:
    run(_LOST, "--format", "csv", "-o", "report.csv")
    assert len(list(csv.reader(io.StringIO(Path("report.csv").read_text(encoding="utf-8"))))) == 20
    code, out, err = run("--verify", "report.csv")
    assert (code, out) == (3, "")
    assert "is a table (CSV), which carries no seal; verify the same report as HTML, text or JSON." in err


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b" \n",
        b"\xff\xfe\x00 not UTF-8",
        b"{" * 100_000,
        b'{"format": ' + b"[" * 100_000,
        b'{"format": "usbwatch-report"' + b"," * 3,
        b'{"format": "usbwatch-report", "digest": 1e999, "looks": [1, {"digest": 2}]}',
        b'{"format": "usbwatch-report", "digest": "\\ud800", "n": NaN}',
        b'{"format": "usbwatch-report", "n": ' + b"9" * 5000 + b"}",
        b'{"format": ["usbwatch-report"]}',
        b"[]",
        b'format = "usbwatch-profile"\n',
        b"sealed sha256:" + b"0" * 64,
        b"<!-- usbwatch-report sha256:" + b"0" * 64 + b" -->\n",
        Path(_LOST).read_bytes(),
    ],
)
def test_a_file_that_is_no_sound_report_gets_one_sentence(run: Run, content: bytes) -> None:
    Path("odd").write_bytes(content)
    code, out, err = run("--verify", "odd")
    assert code in (3, 10)
    assert (out == "") is (code == 3)
    assert err.startswith("usbwatch: report odd: ") is (code == 3)


def test_what_is_no_file_gets_one_sentence(run: Run) -> None:
    os.mkfifo("pipe")
    with Path("huge").open("wb") as file:
        file.truncate(1 << 30)
    for name, said in (
        ("pipe", "is no regular file"),
        (".", "is a folder"),
        ("huge", "is larger than 64 MiB"),
        ("nothing", "cannot be opened"),
        ("a\x1b[2Jb", "cannot be opened"),
    ):
        code, out, err = run("--verify", name)
        assert (code, out) == (3, "")
        assert said in err
        assert "\x1b" not in err


def test_a_capture_that_is_none_gets_one_sentence(run: Run, report: str) -> None:
    code, out, err = run("--verify", report, report)
    assert (code, out) == (3, "")
    assert err.startswith("usbwatch: capture report: ")


def test_a_json_report_whose_digest_cannot_be_worked_out_is_not_unaltered(run: Run) -> None:
    run(_LOST, "--format", "json", "-o", "report.json")
    text = Path("report.json").read_text(encoding="utf-8")
    document = json.loads(text)
    document |= {"verdict": "whole: all is well", "digest": "", "n": float("nan")}
    Path("nan.json").write_text(json.dumps(document), encoding="utf-8")
    document = json.loads(text) | {"verdict": "\ud800", "digest": ""}
    Path("lone.json").write_text(json.dumps(document), encoding="utf-8")
    for name in ("nan.json", "lone.json"):
        assert run("--verify", name)[0] in (3, 10)


@pytest.mark.parametrize("form", ["html", "text", "json"])
def test_a_digest_that_a_device_calls_itself_by_names_no_capture(run: Run, form: str) -> None:
    other = json.loads(Path(_HEALTHY).read_text(encoding="utf-8"))["digest"]
    lost = load_capture(_LOST)
    hostile = replace(lost, unit=replace(lost.unit, product_sku=other, product_version=f"HOW THIS WAS MADE {other}"))
    Path("hostile.json").write_text(to_json(hostile), encoding="utf-8")
    run("hostile.json", "--format", form, "-o", f"report.{form}")
    assert run("--verify", f"report.{form}", "hostile.json")[0] == 0
    assert run("--verify", f"report.{form}", _HEALTHY)[0] == 10
