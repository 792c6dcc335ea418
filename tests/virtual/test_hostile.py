"""A laptop whose every string means harm: what is shown, written and saved stays plain, and what is told stays true."""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import html5lib
import pytest
from virtual.build import Built
from virtual.hostile_parts import HOSTILE_LARCH, IN_SOCKETS, LONG
from virtual.laptop import Condition, Laptop, running
from virtual.program import Judge, sh, usbwatch
from virtual.scenarios import PROFILES
from virtual.watched import watching

from usbwatch.capture import load

pytestmark = pytest.mark.virtual

PROFILE = "fernhill-larch-13"
LOCATIONS = {"1209:000f": "pci0000:00/14.0/usb2/1", "1209:000e": "pci0000:00/14.0/usb2/2"}


@pytest.fixture(scope="module")
def laptop(laptop_files: Built, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Laptop]:
    condition = Condition(missing=("camera",), sockets=IN_SOCKETS)
    with running(laptop_files, condition, tmp_path_factory.mktemp("hostile"), HOSTILE_LARCH) as laptop:
        yield laptop


@pytest.fixture(scope="module")
def capture(laptop: Laptop, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A capture of it, whose strings are as the kernel gives them; what was said meanwhile is plain."""
    path = tmp_path_factory.mktemp("capture") / "capture.json"
    written = usbwatch(laptop, "capture", "-o", "-")
    path.write_bytes(written)
    assert_no_control(written.decode())
    return path


def assert_no_control(text: str) -> None:
    """No byte that a terminal obeys, but the ends of lines."""
    assert sorted({one for one in text if unicodedata.category(one) == "Cc"} - {"\n"}) == []


def assert_plain(text: str) -> None:
    """Nor anything that turns the reading order round or cannot be seen, and no line that is not ours."""
    assert_no_control(text)
    assert sorted({one for one in text if unicodedata.category(one) in ("Cf", "Co", "Cs")}) == []
    assert [line for line in text.splitlines() if re.match(r"✓ present +everything|[✗X] MISSING +all", line)] == []
    assert LONG + "k" not in text


def test_the_kernel_does_hand_these_strings_on(capture: Path) -> None:
    """That the rest tests anything: what reaches the program is hostile."""
    nodes = {node.location: node for node in load(str(capture)).nodes if node.bus == "usb"}
    said = " ".join(f"{node.name} {node.facts}" for node in nodes.values())
    for wanted in ("\x1b[2J", "<script>alert(1)</script>", "=cmd|", "✓ present     everything", "\u202e"):
        assert wanted in said or repr(wanted)[1:-1] in said
    unit = load(str(capture)).unit
    assert "\x1b]0;gone" in unit.product_version
    assert unit.product_serial.startswith("=cmd|")


def test_what_is_told_is_true_all_the_same(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = Judge(capsys, PROFILES["Larch 13"]).document("localise", capture, code=10)
    found = {one["device"]: (one["verdict"], one["symptom"]) for one in told["findings"]}
    well = dict.fromkeys(found, ("present", "working"))
    well |= dict.fromkeys(("lid", "power-button"), ("present", "not observed"))
    assert found == well | {"camera": ("missing", "absent")}
    assert {one["identity"]: one["location"] for one in told["external"]} == LOCATIONS
    assert told["unexpected"] == []
    assert told["suspects"]["parts"][0]["part"] in ("display-cable", "display-assembly")


def test_no_screen_obeys_them(laptop: Laptop, capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert_plain(usbwatch(laptop, "check", "--profile", PROFILE, code=10).decode())
    judge = Judge(capsys, PROFILES["Larch 13"])
    profile = ("--profile", str(PROFILES["Larch 13"]))
    for command in (("check", *profile), ("localise", *profile)):
        text = judge.told(command[0], str(capture), *command[1:], code=10)
        assert_plain(text)
        assert "Camera" in text
        document = judge.told(command[0], "--json", str(capture), *command[1:], code=10)
        assert_no_control(document)
        json.loads(document)


def test_no_report_carries_them_out(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With every name kept: what is replaced cannot do harm anyway."""
    judge = Judge(capsys, PROFILES["Larch 13"])
    profile = ("--profile", str(PROFILES["Larch 13"]), "--identify", "-o", "-")
    text, page, sheet, document = (
        judge.told("report", str(capture), "--format", form, *profile, code=10)
        for form in ("text", "html", "csv", "json")
    )
    assert_plain(text)
    assert_plain(page)
    assert_no_control(document)
    json.loads(document)
    tree = html5lib.parse(page, namespaceHTMLElements=False)
    assert [one for one in tree.iter() if any(name.startswith("on") for name in one.attrib)] == []
    assert [one for one in tree.iter("script") if "alert" in "".join(one.itertext())] == []
    assert [one for one in tree.iter("img") if one.get("src") == "x"] == []
    assert "alert(" in "".join(tree.itertext())  # as words on the page
    cells = [cell for row in csv.reader(io.StringIO(sheet)) for cell in row]
    assert len(cells) > 100
    assert [cell for cell in cells if re.match(r"[=+\-@\t\r]", cell)] == []
    assert_plain("\n".join(cells))


def test_no_file_is_named_by_them(
    capture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Judge(capsys, PROFILES["Larch 13"]).told("report", str(capture), "--identify", code=10)
    (named,) = tmp_path.iterdir()
    assert re.fullmatch(r"[\w.-]+\.html", named.name)


def test_a_watch_tells_of_them_in_plain_words(laptop: Laptop) -> None:
    with watching(laptop, f"--profile {PROFILE}") as run:
        for name in ("keyboard", "touchpad"):
            laptop.parts[name].unplug()
            sh(laptop, "settle 15 12")
            laptop.parts[name].plug()
            sh(laptop, "settle 15 12; usleep 1500000")
    assert [(one["change"], [device["id"] for device in one["devices"]]) for one in run.incidents] == [
        (change, [name]) for name in ("keyboard", "touchpad") for change in ("gone", "came back")
    ]
    assert_no_control("\n".join(run.lines))
    assert_no_control(run.kept.decode())
    for incident in run.incidents:
        assert_plain(incident["text"])
