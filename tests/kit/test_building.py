"""``usbwatch kit``: what it writes, what it leaves alone, and a page that agrees with the collectors."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from usbwatch.cli import main
from usbwatch.kit import collecting, is_earlier, kit_files
from usbwatch.kit.signals import DONE, FAILED, UNPOSTED
from usbwatch.listen.codes import is_code

NAMES = {"READ-ME.txt", "capture.py", "capture.sh"}


def test_it_writes_the_kit_and_says_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["kit", str(tmp_path)]) == 0
    shown = capsys.readouterr()
    assert {path.name for path in tmp_path.iterdir()} == NAMES
    assert all(name in shown.out for name in NAMES)
    assert "usbwatch check" in shown.out
    assert shown.err == ""
    assert {one.name: one.content for one in kit_files()} == {
        path.name: path.read_bytes() for path in tmp_path.iterdir()
    }


def test_the_files_of_an_earlier_kit_are_renewed_and_captures_stay(tmp_path: Path) -> None:
    for one in kit_files():
        older = one.content.replace(b"usbwatch 0.1.0", b"usbwatch 0.0.1").replace(b"USBWATCH 0.1.0", b"USBWATCH 0.0.1")
        assert older != one.content
        (tmp_path / one.name).write_bytes(older + b"# older\n")
    (tmp_path / "larch-13-2026-03-02-091400.json").write_text("{}")
    assert main(["kit", str(tmp_path)]) == 0
    assert all((tmp_path / one.name).read_bytes() == one.content for one in kit_files())
    assert (tmp_path / "larch-13-2026-03-02-091400.json").read_text() == "{}"


@pytest.mark.parametrize("name", sorted(NAMES))
def test_another_file_of_that_name_is_left_alone_and_so_is_all_else(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_text("mine\n")
    assert main(["kit", str(tmp_path)]) == 3
    assert re.fullmatch(
        r"usbwatch: output .* is not from a kit; .* --force to overwrite it\.\n", capsys.readouterr().err
    )
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [(name, "mine\n")]
    assert main(["kit", "--force", str(tmp_path)]) == 0
    assert is_earlier(name, (tmp_path / name).read_bytes())


@pytest.mark.parametrize("folder", ["nowhere", "a-file", "nul\0"])
def test_what_is_no_folder_is_refused(folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a-file").write_text("")
    assert main(["kit", str(tmp_path / folder)]) == 3
    assert capsys.readouterr().err.startswith("usbwatch: output ")


def test_where_to_post_is_written_beside_it_as_the_collector_reads_it(tmp_path: Path) -> None:
    asked = collecting._parser().parse_args([])
    for post, code in (("192.0.2.7:8090", "K7PM-4RTX"), ("[2001:db8::7]:8090", "k7pm4rtx"), ("192.0.2.8", "ABCD-2345")):
        assert main(["kit", str(tmp_path), "--post", post, "--code", code]) == 0
        assert collecting._destination(asked, str(tmp_path)) == collecting._Bench(address=post, code=code)
        assert is_code(code)
    assert main(["kit", str(tmp_path), "--post", "127.0.0.1:8090"]) == 0
    assert collecting._destination(asked, str(tmp_path)) == collecting._Bench(address="127.0.0.1:8090")


_REFUSED = {
    "a code alone": ["--code", "K7PM-4RTX"],
    "two words": ["--post", "a b", "--code", "K7PM-4RTX"],
    "nothing": ["--post", "", "--code", "K7PM-4RTX"],
    "a name": ["--post", "bench.local", "--code", "K7PM-4RTX"],
    "all addresses": ["--post", "0.0.0.0", "--code", "K7PM-4RTX"],
    "a port too high": ["--post", "192.0.2.7:70000", "--code", "K7PM-4RTX"],
    "no code": ["--post", "192.0.2.7"],
    "a code too short": ["--post", "192.0.2.7", "--code", "417-226"],
    "look-alikes": ["--post", "192.0.2.7", "--code", "K7PM-4RT0"],
    "letters beyond ASCII": ["--post", "192.0.2.7", "--code", "\u00e9" * 8],
}


@pytest.mark.parametrize("options", _REFUSED.values(), ids=_REFUSED)
def test_what_the_unit_or_the_bench_would_refuse_is_refused_when_the_kit_is_made(
    options: list[str], tmp_path: Path
) -> None:
    assert main(["kit", str(tmp_path), *options]) == 2
    assert list(tmp_path.iterdir()) == []


def test_an_old_note_of_where_to_post_does_not_stay_in_silence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    note = tmp_path / "post-to.txt"
    assert main(["kit", str(tmp_path), "--post", "192.0.2.7", "--code", "K7PM-4RTX"]) == 0
    assert "until that usbwatch listen --same-code is ended" in " ".join(capsys.readouterr().out.split())
    assert main(["kit", str(tmp_path)]) == 0
    assert "post-to.txt of an earlier kit was removed" in capsys.readouterr().out
    assert not note.exists()
    by_hand = b"192.0.2.7\nK7PM-4RTX\n"
    note.write_bytes(by_hand)
    assert main(["kit", str(tmp_path)]) == 0
    assert "so it stays" in " ".join(capsys.readouterr().out.split())
    assert note.read_bytes() == by_hand


@pytest.mark.parametrize("written", ["192.0.2.7:8090\r\n417\r\n", "\ufeff192.0.2.7:8090\n417", "192.0.2.7:8090 417"])
def test_a_note_is_read_however_an_editor_left_it(written: str, tmp_path: Path) -> None:
    (tmp_path / "post-to.txt").write_text(written, encoding="utf-8")
    assert collecting._destination(collecting._parser().parse_args([]), str(tmp_path)) == collecting._Bench(
        address="192.0.2.7:8090", code="417"
    )


@pytest.mark.parametrize("written", ["", " \r\n", "a b c"])
def test_a_note_that_is_none_keeps_nobody_from_capturing(
    written: str, tmp_path: Path, real_tree: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "post-to.txt").write_text(written, encoding="utf-8")
    root = str(real_tree("healthy"))
    assert collecting.main(["--quiet", "--root", root, "-o", str(tmp_path)], str(tmp_path / "capture.py")) == 4
    assert "post-to.txt should hold an address and a code" in capsys.readouterr().err
    assert len(list(tmp_path.glob("*.json"))) == 1


def test_the_page_is_one_page_that_every_editor_shows() -> None:
    content = next(one.content for one in kit_files() if one.name == "READ-ME.txt")
    assert content.count(b"\r\n") == content.count(b"\n")
    rows = content.decode("ascii").split("\r\n")
    assert len(rows) <= 51  # 50, and the end of the last: well within a printed page (common practice, no source)
    assert max(len(row) for row in rows) <= 72
    assert "@" not in content.decode("ascii")


def test_the_page_says_what_the_collectors_do() -> None:
    files = {one.name: one.content.decode() for one in kit_files()}
    words = " ".join(files["READ-ME.txt"].split())
    assert f"waits {collecting._WAIT_S} seconds" in words
    assert f"seconds={collecting._WAIT_S};" in files["capture.sh"]
    numbers = {2: "two", 3: "three", 6: "six"}
    for (beeps, groups, _), pace, end in ((DONE, "slow", "done"), (FAILED, "quick", "failed")):
        assert f"{numbers[beeps]} {pace} beeps, {numbers[groups]} times {end}" in words
    assert (UNPOSTED[0], UNPOSTED[1]) == (1, 5)
    assert 'one beep, five times after "done"' in words
    assert f"signal {DONE[0]} " in files["capture.sh"]
    assert f"signal {FAILED[0]} " in files["capture.sh"]
    typed = re.findall(r"sudo sh (?:\S*/)?(\S+)", files["READ-ME.txt"])
    assert set(typed) == {"capture.sh"}
    for told in ("usbwatch check NAME.json", "usbwatch check --root NAME.tar", "post-to.txt", "--wait 30"):
        assert told in files["READ-ME.txt"]


def test_no_text_of_it_is_written_for_one_system_alone() -> None:
    """The script starts everywhere only with line ends of Unix; the Python file is read by any editor."""
    for one in kit_files():
        if one.name != "READ-ME.txt":
            assert b"\r" not in one.content
            assert b"@VERSION@" not in one.content
