"""``usbwatch handcheck`` on an invented unit whose nodes answer as a script says."""

from __future__ import annotations

import errno
import io
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from conftest import BuiltTree
from support.looking import look
from support.make_readme import ROOT
from support.pages import fits, shown
from support.units import HERON, LARCH

from usbwatch.capture import CopiedTree, load, to_json
from usbwatch.capture.signs import Sign
from usbwatch.capture.watched_nodes import Source
from usbwatch.capture.watching import Happening, Nodes, Said, Signs
from usbwatch.cli import hearing, main, taking
from usbwatch.compare import findings
from usbwatch.model import Capture, Deed, Response, Symptom, System, UnitStrings, Verdict
from usbwatch.profile import find

HERON_PROFILE = find("brackwell-heron-14")
KEYBOARD, LID = "platform/i8042/kbd/input", "acpi/_SB_.LID0/input"
AC = "acpi/_SB_.AC0_/power_supply"

Script = Callable[[int], Happening]


def sign(location: str, *signs: Sign) -> Script:
    return lambda at_ms: Signs(at_ms=at_ms, location=location, signs=signs)


def word(*, done: bool) -> Script:
    return lambda at_ms: Said(at_ms=at_ms, done=done)


NOTHING: tuple[Script, ...] = ()


@dataclass
class Unit:
    """A unit in which, at each ask, the happenings of one script come one by one."""

    root: Path
    capture: Capture
    scripts: list[tuple[Script, ...]] = field(default_factory=list)
    refused: bool = False
    speaks: bool = False
    clock_ms: int = 0
    asked: int = 0

    def bench(self) -> hearing.Bench:
        return hearing.Bench(
            tree=CopiedTree(str(self.root)),
            openable=lambda _source: errno.EACCES if self.refused else 0,
            opened=self.opened,
            now_ms=lambda: self.clock_ms,
            speaks=self.speaks,
            forget=lambda: None,  # there is no terminal whose keys could be thrown away
        )

    @contextmanager
    def opened(self, _watched: tuple[Source, ...]) -> Iterator[Nodes]:
        self.asked += 1
        yield _Scripted(self, list(self.scripts.pop(0)))


@dataclass
class _Scripted:
    unit: Unit
    script: list[Script]

    def wait(self, timeout_s: float) -> tuple[Happening, ...]:
        self.unit.clock_ms += int(timeout_s * 1000)
        return (self.script.pop(0)(self.unit.clock_ms),) if self.script else ()


@pytest.fixture
def heron(built_tree: BuiltTree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Unit:
    return _on_the_bench(Unit(root=built_tree(HERON), capture=look(built_tree(HERON))), tmp_path, monkeypatch)


@pytest.fixture
def larch(built_tree: BuiltTree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Unit:
    return _on_the_bench(Unit(root=built_tree(LARCH), capture=look(built_tree(LARCH))), tmp_path, monkeypatch)


def _on_the_bench(unit: Unit, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Unit:
    monkeypatch.chdir(folder)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr(taking, "taken", lambda _root, _log: unit.capture)
    monkeypatch.setattr(hearing, "live_bench", unit.bench)
    return unit


def written() -> Capture:
    (path,) = Path().glob("*.json")
    return load(str(path))


def test_what_answers_enters_the_capture(heron: Unit, capsys: pytest.CaptureFixture[str]) -> None:
    heron.scripts = [(sign(KEYBOARD, Sign.LETTER, Sign.LETTER),), (sign(LID, Sign.LID),)]
    assert main(["handcheck"]) == 0
    shown = capsys.readouterr()
    assert "PRESS A FEW KEYS" in shown.err
    assert "CLOSE THE LID" in shown.err
    assert "✓  2 of 2 hand checks answered" in shown.out
    told = findings(written(), HERON_PROFILE)
    assert {told.of(device).symptom for device in ("keyboard", "lid")} == {Symptom.WORKING}
    assert [one.after_ms for one in written().observations] == [200, 200]


def test_silence_is_said_and_has_its_exit_code(heron: Unit, capsys: pytest.CaptureFixture[str]) -> None:
    heron.scripts = [(word(done=True),)]
    assert main(["handcheck", "keyboard", "-o", "heron.json"]) == 10
    assert "✗ SILENT      Keyboard: a key press" in capsys.readouterr().out
    assert findings(written(), HERON_PROFILE).of("keyboard").verdict is Verdict.MISSING
    assert main(["check", "heron.json"]) == 10


def test_what_cannot_be_done_proves_nothing(heron: Unit) -> None:
    heron.scripts = [(word(done=False),)]
    assert main(["handcheck", "keyboard"]) == 11
    assert written().observations[0].response is Response.NOT_DONE
    assert findings(written(), HERON_PROFILE).of("keyboard").verdict is Verdict.UNSEEN


def test_without_a_word_it_goes_on_after_the_time_that_was_given(heron: Unit) -> None:
    heron.scripts = [NOTHING, NOTHING]
    assert main(["handcheck", "--timeout", "7"]) == 11
    assert 14_000 <= heron.clock_ms <= 15_000


def test_another_node_is_named_and_the_part_asked_for_again(heron: Unit, capsys: pytest.CaptureFixture[str]) -> None:
    heron.scripts = [(sign(LID, Sign.KEY), *[sign(LID, Sign.KEY)] * 5, sign(KEYBOARD, Sign.LETTER))]
    assert main(["handcheck", "keyboard"]) == 0
    said = capsys.readouterr().err
    assert said.count("which is not the part asked for. Once more, on the unit's own keyboard.") == 1
    assert written().observations[0].elsewhere == (LID,)


def test_without_rights_nothing_is_asked_and_it_says_which_are_needed(
    heron: Unit, capsys: pytest.CaptureFixture[str]
) -> None:
    heron.refused = True
    assert main(["handcheck"]) == 11
    shown = capsys.readouterr()
    assert heron.asked == 0
    assert "run it as root, or as a member of the group that owns /dev/input (on most systems: input)." in shown.err
    assert "· not asked   Keyboard: a key press\n              its node may not be opened by this user\n" in shown.out
    assert list(Path().glob("*.json")) == []


def test_a_node_that_software_keeps_quiet_is_not_called_silent(
    loose_tree: BuiltTree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    root = loose_tree(HERON)
    unit = _on_the_bench(Unit(root=root, capture=look(root)), tmp_path, monkeypatch)
    for node in (root / "sys/devices/platform/i8042").glob("*/input/input*"):
        (node / "inhibited").write_text("1\n", encoding="utf-8")
    assert main(["handcheck", "keyboard"]) == 11
    assert unit.asked == 0
    assert "a program has told the kernel to keep its node quiet (inhibited)" in capsys.readouterr().out


def test_the_charger_is_plugged_in_again_only_after_it_was_seen_to_leave(larch: Unit) -> None:
    larch.scripts = [(sign(AC, Sign.OFFLINE),), (sign(AC, Sign.ONLINE),)]
    assert main(["handcheck", "mains-adapter", "-o", "a.json"]) == 0
    assert [one.deed for one in load("a.json").observations] == [Deed.PULL, Deed.PLUG]
    larch.scripts = [(word(done=False),)]
    assert main(["handcheck", "mains-adapter", "-o", "b.json"]) == 11
    assert [one.deed for one in load("b.json").observations] == [Deed.PULL]


def test_results_are_added_to_a_capture_in_its_own_file(heron: Unit) -> None:
    Path("before.json").write_text(to_json(heron.capture), encoding="utf-8")
    heron.scripts = [(sign(KEYBOARD, Sign.LETTER),)]
    assert main(["handcheck", "keyboard", "--add-to", "before.json"]) == 0
    assert load("before.json") == replace(heron.capture, observations=load("before.json").observations)
    # The second run asks only for what is still open.
    heron.scripts = [(sign(LID, Sign.LID),)]
    assert main(["handcheck", "--add-to", "before.json"]) == 0
    assert [one.function for one in load("before.json").observations] == ["keyboard", "lid"]
    assert [one.name for one in Path().iterdir()] == ["before.json"]


def test_a_capture_of_another_unit_is_refused_and_left_alone(
    heron: Unit, built_tree: BuiltTree, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("larch.json").write_text(to_json(look(built_tree(LARCH))), encoding="utf-8")
    before = Path("larch.json").read_bytes()
    assert main(["handcheck", "--add-to", "larch.json"]) == 3
    assert "larch.json: is of another unit than this machine" in capsys.readouterr().err
    assert (heron.asked, Path("larch.json").read_bytes()) == (0, before)


def test_a_file_that_is_there_is_refused_before_anybody_moves(heron: Unit) -> None:
    Path("kept.json").write_text("kept", encoding="utf-8")
    assert main(["handcheck", "-o", "kept.json"]) == 3
    assert (heron.asked, Path("kept.json").read_text(encoding="utf-8")) == (0, "kept")


WRONG_USES = {
    "no such check": (["handcheck", "heart"], "has nothing called 'heart' that a hand can move. It has: keyboard, "),
    "two files": (["handcheck", "--add-to", "a.json", "-o", "b.json"], "--add-to names the file to write"),
    "to standard output": (["handcheck", "-o", "-"], "standard output has the result"),
    "no time": (["handcheck", "--timeout", "0"], "0 is not in the range"),
}


@pytest.mark.parametrize(("arguments", "sentence"), WRONG_USES.values(), ids=WRONG_USES)
def test_wrong_use(heron: Unit, arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    assert sentence in " ".join(capsys.readouterr().err.split())
    assert heron.asked == 0


def test_json(heron: Unit, capsys: pytest.CaptureFixture[str]) -> None:
    heron.scripts = [(sign(KEYBOARD, Sign.LETTER),)]
    assert main(["handcheck", "keyboard", "--json", "-o", "heron.json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["format"], told["capture"]) == ("usbwatch-handcheck", "heron.json")
    assert told["checks"][0]["observation"]["location"] == KEYBOARD


def _nameless(capture: Capture) -> Capture:
    return replace(capture, unit=UnitStrings())


@pytest.mark.parametrize("here", [True, False], ids=["no model here", "no model there"])
def test_results_are_not_added_to_what_may_be_another_unit(
    heron: Unit, here: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    there = heron.capture if here else _nameless(heron.capture)
    heron.capture = _nameless(heron.capture) if here else heron.capture
    Path("before.json").write_text(to_json(there), encoding="utf-8")
    before = Path("before.json").read_bytes()
    assert main(["handcheck", "keyboard", "--profile", HERON_PROFILE.id, "--add-to", "before.json"]) == 3
    assert "before.json: may be of another unit than this machine: " in capsys.readouterr().err
    assert (heron.asked, Path("before.json").read_bytes()) == (0, before)


SIGN = System(platform="linux", virtual="a sign of a hypervisor")
DEAF = {
    "nothing there": ({}, System(platform="linux"), "no node in /dev/input"),
    "a virtual machine": ({}, SIGN, "this is a virtual machine or container; run it on the unit itself"),
    "broken": ({"a": "its node cannot be opened (No such device)"}, System(platform="linux"), "(No such device)"),
}


@pytest.mark.parametrize(("ears", "system", "said"), DEAF.values(), ids=DEAF)
def test_where_nothing_can_be_listened_to_it_says_why(
    heron: Unit, ears: dict[str, str], system: System, said: str
) -> None:
    told = hearing.deaf_sentence(ears, replace(heron.capture, system=system))
    assert told.startswith("nothing can be listened to: ")
    assert said in told


def test_where_something_can_be_listened_to_nothing_is_said(heron: Unit) -> None:
    assert hearing.deaf_sentence({"a": "", "b": "its node cannot be opened"}, heron.capture) == ""


def test_a_virtual_machine_says_so_before_it_asks_for_nothing(heron: Unit, capsys: pytest.CaptureFixture[str]) -> None:
    heron.capture = replace(heron.capture, nodes=(), system=SIGN)
    assert main(["handcheck", "--profile", HERON_PROFILE.id]) == 11
    assert "nothing can be listened to: this is a virtual machine or container" in capsys.readouterr().err


def test_the_page_shows_what_it_prints(heron: Unit) -> None:
    """docs/handcheck.md: a keyboard that says nothing, and a lid that does."""

    def closed(at_ms: int) -> Happening:
        return Signs(at_ms=at_ms + 1900, location=LID, signs=(Sign.LID, Sign.LID))

    heron.scripts = [(word(done=True),), (closed,)]
    ((command, screen),) = shown((ROOT / "docs/handcheck.md").read_text("utf-8"))
    heron.speaks = True
    both = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="\n")
    with redirect_stdout(both), redirect_stderr(both):
        assert main(command.split()[1:]) == 10
    both.seek(0)
    printed = both.read()
    assert fits(screen, printed), printed
