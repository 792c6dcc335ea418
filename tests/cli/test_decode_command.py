"""``usbwatch decode``: the raw bytes of a capture as a user asks for them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from support.bench import lay_out, run, small_capture

from usbwatch.capture import to_json

USB2 = "pci0000:00/14.0/usb2"
# HID 1.11 appendix E.1: the device descriptor.
DEVICE = "1201000100000008ffff01000001040e3001"


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    made = small_capture()
    nodes = tuple(
        replace(node, raw={"descriptors": DEVICE}) if node.bus == "usb" and node.identity else node
        for node in made.nodes
    )
    (tmp_path / "raw.json").write_text(to_json(replace(made, nodes=nodes)), encoding="utf-8")
    return lay_out(tmp_path)


def test_all_raw_blocks_of_a_capture_are_shown(bench: Path) -> None:
    done = run(bench, "decode", "raw.json")
    assert (done.returncode, done.stderr) == (0, "")
    assert [row for row in done.stdout.splitlines() if row.startswith("Plover")] == [
        f"Plover keyboard (1209:0001)                           usb {USB2}/1",
        f"Plover bluetooth (1209:0004)                          usb {USB2}/2",
    ]
    assert done.stdout.count("bcdUSB") == 2


def test_one_location_is_shown_alone(bench: Path) -> None:
    done = run(bench, "decode", "raw.json", f"{USB2}/2")
    assert "Plover bluetooth" in done.stdout
    assert "Plover keyboard" not in done.stdout


def test_what_hangs_on_a_location_is_shown_with_it(bench: Path) -> None:
    assert run(bench, "decode", "raw.json", USB2).stdout == run(bench, "decode", "raw.json").stdout


def test_a_location_without_raw_bytes_is_no_error(bench: Path) -> None:
    done = run(bench, "decode", "whole.json", f"{USB2}/2")
    assert done.returncode == 0
    assert done.stdout.startswith("No raw bytes were recorded here")


ABSENT = {
    f"{USB2}/9": f"capture raw.json: has nothing at {USB2}/9; it has {USB2}/1, {USB2}/2.",
    "nowhere": "capture raw.json: has nothing at nowhere; leave LOCATION out to see all that it holds.",
    "\x1b[2J": "capture raw.json: has nothing at \\x1b[2J; leave LOCATION out to see all that it holds.",
}


@pytest.mark.parametrize(("location", "sentence"), ABSENT.items(), ids=["near one", "far from all", "hostile"])
def test_a_location_that_is_not_in_the_capture_is_bad_input(bench: Path, location: str, sentence: str) -> None:
    done = run(bench, "decode", "raw.json", location)
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == f"usbwatch: {sentence}\n"


def test_a_broken_capture_is_bad_input(bench: Path) -> None:
    done = run(bench, "decode", "broken.json")
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr.startswith("usbwatch: capture broken.json: ")


def test_a_capture_from_standard_input(bench: Path) -> None:
    text = (bench / "raw.json").read_text(encoding="utf-8")
    assert run(bench, "decode", "-", f"{USB2}/1", stdin=text).stdout.count("bcdUSB") == 1
    failed = run(bench, "decode", "-", "nowhere", stdin=text)
    assert "capture on standard input: has nothing at nowhere" in failed.stderr


def test_json_is_one_document_whose_rows_are_the_bytes(bench: Path) -> None:
    document = json.loads(run(bench, "decode", "raw.json", f"{USB2}/1", "--json").stdout)
    assert document["format"] == "usbwatch-decode"
    (node,) = document["nodes"]
    (block,) = node["blocks"]
    assert "".join(row["hex"] for piece in block["descriptors"] for row in piece["rows"]) == DEVICE


def test_json_of_a_location_without_raw_bytes_has_no_nodes(bench: Path) -> None:
    document = json.loads(run(bench, "decode", "whole.json", f"{USB2}/2", "--json").stdout)
    assert document["nodes"] == []


def test_an_ending_that_one_location_has_is_enough(bench: Path) -> None:
    whole = run(bench, "decode", "raw.json", f"{USB2}/2")
    assert run(bench, "decode", "raw.json", "usb2/2").stdout == whole.stdout
    assert "has nothing at sb2/2" in run(bench, "decode", "raw.json", "sb2/2").stderr
