"""``usbwatch watch`` on the machine that runs the tests, where nothing comes or goes: its beginning and its ending.

What it tells of hardware that does come and go is in tests/virtual/test_watch.py.
"""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from support.happenings import arrived, departed, device
from support.watch_scenes import BEGAN, LARCH, healthy

from usbwatch.capture import load, to_json
from usbwatch.capture.stream.news import Dropped, Happening, Seen, Stood
from usbwatch.cli import main
from usbwatch.cli.endings import until_ended
from usbwatch.cli.sitting import Sitting, Start
from usbwatch.cli.watch_journal import Journal, recovered
from usbwatch.cli.watch_record import keeping_of
from usbwatch.compare import findings
from usbwatch.errors import BadCapture
from usbwatch.model import Capture, Change, Kind, Mark, Watch

PROFILE = ("--profile", "generic-clamshell")
COMMAND = (sys.executable, "-m", "usbwatch", "watch", *PROFILE)

linux = pytest.mark.skipif(sys.platform != "linux", reason="sysfs is Linux's own")


# A whole sitting, with a stream that is a script


class Script:
    """A stream that gives what it was given, one happening for each wait."""

    sources = ("kernel log", "uevents")
    limit_ms = 100

    def __init__(self, capture: Capture, happenings: Sequence[Happening], clock: list[int]) -> None:
        nodes = [node for node in capture.nodes if node.bus == "usb" and node.kind is Kind.DEVICE]
        self._there = tuple(
            Seen(bus="usb", location=node.location, name=node.name, identity=node.identity, entry=number)
            for number, node in enumerate(nodes, 1)
        )
        self._left = list(happenings)
        self._clock = clock

    def begin(self, _capture: Capture) -> tuple[tuple[Seen, ...], tuple[Stood, ...]]:
        return self._there, (Stood(at_ms=0, bus="acpi", location="acpi/_SB_.BAT0", there=True),)

    def wait(self, timeout_s: float) -> tuple[Happening, ...]:
        self._clock[0] += max(1, int(timeout_s * 1000))
        due = [one for one in self._left if one.at_ms <= self._clock[0]]
        del self._left[: len(due)]
        return tuple(due)


def sat_through(*happenings: Happening, until_ms: int = 10_000) -> Sitting:
    clock = [0]
    capture = healthy()
    start = Start(began=BEGAN, capture=capture, findings=findings(capture, LARCH), profile=LARCH)
    sitting = Sitting(Script(capture, happenings, clock), start, lambda: clock[0])
    while clock[0] < until_ms:
        sitting.waited(until_ms)
    sitting.ended()
    return sitting


def test_a_quiet_sitting_has_no_event_and_says_what_was_watched() -> None:
    sitting = sat_through()
    record = sitting.record()
    assert (record.events, record.missed, sitting.was_eventful) == ((), 0, False)
    assert (record.sources, record.limit_ms) == (("kernel log", "uevents"), 100)
    assert "pci0000:00/14.0/usb2/4.1" in record.watched
    assert "acpi/_SB_.BAT0" in record.watched
    # What stays in its place whatever happens to the part is not watched.
    assert not [
        place for place in record.watched if place.startswith(("platform/", "pci0000:00/02.0", "acpi/_SB_.LID"))
    ]


def test_what_went_is_in_the_record_and_makes_the_sitting_eventful() -> None:
    sitting = sat_through(departed(2000, "4.1"), arrived(4000, device("4.1")), Dropped(at_ms=5000))
    record = sitting.record()
    assert [event.change for event in record.events] == [Change.GONE, Change.BACK]
    assert record.missed == 1
    assert sitting.was_eventful
    assert [one.devices for one in sitting.watched().incidents] == [("keyboard",), ("keyboard",)]


def test_a_helper_in_a_socket_is_no_event_of_the_units_own() -> None:
    sitting = sat_through(arrived(2000, device("1", product=9)), departed(4000, "1"))
    assert [event.change for event in sitting.record().events] == [Change.CAME, Change.GONE]
    assert not sitting.was_eventful


def test_a_stick_its_disk_and_a_second_display_are_no_events_of_the_units_own() -> None:
    stick = device("1", product=9)
    disk = Seen(bus="block", location=f"{stick.location}/if0/block", name="sdb", identity="", entry=70)
    display = Seen(bus="typec", location="typec/port0/partner", name="", identity="", entry=71)
    sitting = sat_through(arrived(2000, stick), arrived(3500, disk), arrived(5000, display))
    told = sitting.watched().incidents
    assert [[one.bus for one in each.events] for each in told] == [["usb"], ["typec"]]
    assert [(each.outside, each.unplaced) for each in told] == [(True, False), (False, True)]
    assert not sitting.was_eventful


def test_a_battery_that_nothing_reads_is_not_watched() -> None:
    class Silent(Script):
        def begin(self, _capture: Capture) -> tuple[tuple[Seen, ...], tuple[Stood, ...]]:
            return self._there, ()

    clock, capture = [0], healthy()
    start = Start(began=BEGAN, capture=capture, findings=findings(capture, LARCH), profile=LARCH)
    assert not [one for one in Sitting(Silent(capture, (), clock), start, lambda: 0).record().watched if "acpi" in one]


def test_what_left_while_the_first_capture_was_taken_is_told() -> None:
    capture = healthy()
    clock = [0]
    script = Script(capture, (), clock)
    script._there = tuple(one for one in script._there if not one.location.endswith("/5"))
    start = Start(
        began=BEGAN,
        capture=capture,
        findings=findings(capture, LARCH),
        profile=LARCH,
    )
    sitting = Sitting(script, start, lambda: clock[0])
    assert [(event.change, event.location[-2:]) for event in sitting.record().events] == [(Change.GONE, "/5")]


# The command itself


@pytest.fixture(scope="module")
def quiet_code() -> int:
    """The exit code of a watch in which nothing happens, from how this machine's devices stand by its JSON lines."""
    run = subprocess.run(
        [*COMMAND, "--for", "0.2", "--json", "--no-record"], stdout=subprocess.PIPE, check=False, text=True
    )
    stands = {one["condition"] for one in json.loads(run.stdout.splitlines()[-1])["devices"]}
    if stands - {"present", "not watched", "no mains"}:
        return 10
    return 11 if stands <= {"not watched"} else 0


def record_in(path: Path) -> Watch:
    (watch,) = load(str(path)).watches
    return watch


@linux
def test_json_lines_have_a_beginning_and_an_end(quiet_code: int, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["watch", "--for", "0.3", "--json", "--no-record", *PROFILE]) == quiet_code
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one["type"] for one in lines] == ["begin", "end"]
    assert lines[1]["lasted_ms"] >= 300


@linux
@pytest.mark.parametrize("way", ["auto", "looks"])
def test_ctrl_c_is_a_good_end_with_summary_and_record(quiet_code: int, tmp_path: Path, way: str) -> None:
    path = tmp_path / "record.json"
    with subprocess.Popen(
        [*COMMAND, "--json", "--source", way, "-o", str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        assert json.loads(run.stdout.readline())["type"] == "begin"
        run.send_signal(signal.SIGINT)
        said = run.stderr.read()
        assert json.loads(run.stdout.read())["type"] == "end"
    assert run.returncode == quiet_code, said
    watch = record_in(path)
    assert watch.began_at.endswith("Z")
    assert "readings" in watch.sources
    # The kernel's events are asked for at first, unless they are not wanted or not to be had, which is then said.
    assert ("uevents" in watch.sources) is (way == "auto" and "events are not to be had" not in said)
    assert "looks" in watch.sources or way == "auto"


_ON_ITS_OWN_TERMINAL = """
import os, sys
handle = os.open(sys.argv[1], os.O_RDWR)
for number in (0, 1, 2):
    os.dup2(handle, number)
os.execv(sys.argv[2], sys.argv[2:])
"""


def on_a_terminal(arguments: Sequence[str], typed: bytes = b"") -> tuple[int, subprocess.Popen[bytes], bytes]:
    """A watch with a terminal of its own, once its page is there; the terminal's other end, and what it showed."""
    ours, theirs = pty.openpty()
    run = subprocess.Popen(
        # A session of its own whose terminal this is: opening one makes it that (tty(4) of a session leader).
        [sys.executable, "-c", _ON_ITS_OWN_TERMINAL, os.ttyname(theirs), *COMMAND, *arguments],
        env={**os.environ, "TERM": "vt100"},
        start_new_session=True,
    )
    shown = b""
    end = time.monotonic() + 60
    while b"Enter: mark" not in shown and b"all 0" not in shown and time.monotonic() < end:
        shown += os.read(ours, 65_536)
    os.close(theirs)  # not before the program has it: a terminal that nobody holds is one that was lost
    os.write(ours, typed)
    return ours, run, shown


@linux
def test_a_quiet_watch_of_lines_begins_with_what_is_watched(
    quiet_code: int, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "record.json"
    assert main(["watch", "--for", "0.2", "--lines", "-o", str(path), *PROFILE]) == quiet_code
    shown = capsys.readouterr()
    assert "watched, " in shown.out.splitlines()[0]
    assert "by profile generic-clamshell" in shown.out.splitlines()[0]
    words = " ".join(shown.out.split())
    assert f"usbwatch check --profile generic-clamshell {path}".replace(" ", "") in words.replace(" ", "")
    assert "The record is" in words
    if quiet_code == 11:
        assert "Nothing of the unit could be watched" in words


@linux
def test_without_the_kernels_events_it_says_what_is_lost_and_what_to_do(
    quiet_code: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyudev", None)  # as where it is not installed: import raises ImportError
    assert main(["watch", "--for", "0.2", "--json", "--no-record", *PROFILE]) == quiet_code
    assert (
        "the kernel's events are not to be had (the package pyudev is not installed): it looks every 100 ms instead, "
        "so absences under 200 ms may pass unseen; pip install 'usbwatch[live]' hears them at once.\n"
    ) in capsys.readouterr().err


@linux
def test_a_watch_on_a_terminal_asks_for_no_profile(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is typed is a mark: a question would swallow it."""
    monkeypatch.setattr("usbwatch.cli.choosing.asks", lambda: True)
    monkeypatch.setattr("click.prompt", lambda *_given, **_named: pytest.fail("it asks"))
    assert main(["watch", "--for", "0.2", "--json", "--no-record"]) in (0, 10, 11)
    assert '"profile"' in capsys.readouterr().out


@linux
def test_a_line_typed_marks_the_moment(quiet_code: int, tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    ours, run, _ = on_a_terminal(["-o", str(path)], b"flexed at the hingd\x7fe\r\r")
    shown = b""
    while b"mark 2" not in shown:
        shown += os.read(ours, 65_536)
    os.write(ours, b"\x03")
    while True:
        try:
            if not os.read(ours, 65_536):
                break
        except OSError:  # EIO: nobody holds the other end any more
            break
    assert run.wait(60) == quiet_code
    os.close(ours)
    assert [mark.text for mark in record_in(path).marks] == ["flexed at the hinge", ""]


@linux
def test_a_terminal_that_is_lost_does_not_cost_the_record(quiet_code: int, tmp_path: Path) -> None:
    """Closing the other end is what a dropped SSH session does: SIGHUP, and EIO for all that is written."""
    path = tmp_path / "record.json"
    ours, run, _ = on_a_terminal(["-o", str(path)])
    os.close(ours)
    assert run.wait(60) == quiet_code
    assert record_in(path).lasted_ms > 0


@linux
def test_a_reader_that_has_gone_does_not_cost_the_record(tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    with subprocess.Popen(
        [*COMMAND, "--json", "--for", "1", "-o", str(path)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as run:
        assert run.stdout is not None
        run.stdout.readline()
        run.stdout.close()
    assert run.returncode == 141  # as a POSIX shell reports a closed pipe
    # The closing line has no reader, and the record is there all the same.
    assert record_in(path).lasted_ms >= 1000


@linux
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full (full(4))")
def test_an_output_that_takes_no_more_is_said_and_does_not_cost_the_record(tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    with Path("/dev/full").open("w") as full:
        run = subprocess.run(
            [*COMMAND, "--json", "--for", "1", "-o", str(path)], stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert run.returncode == 3
    assert b"cannot be written (No space left on device)" in run.stderr
    assert record_in(path).sources


@linux
def test_the_record_is_added_to_a_capture_of_the_same_unit(quiet_code: int, tmp_path: Path) -> None:
    path = tmp_path / "before.json"
    assert main(["capture", "-o", str(path)]) == 0
    before = load(str(path))
    for _ in range(2):
        assert main(["watch", "--for", "0.2", "--lines", "--add-to", str(path), *PROFILE]) == quiet_code
    after = load(str(path))
    assert (len(after.watches), after.nodes) == (2, before.nodes)


@linux
def test_two_watches_that_end_on_one_file_leave_both_records(quiet_code: int, tmp_path: Path) -> None:
    path = tmp_path / "before.json"
    assert main(["capture", "-o", str(path)]) == 0
    runs = [
        subprocess.Popen([*COMMAND, "--lines", "--for", "1.5", "--add-to", str(path)], stderr=subprocess.PIPE)
        for _ in range(2)
    ]
    for run in runs:
        said = run.communicate()[1]
        assert run.returncode == quiet_code, said
    assert len(load(str(path)).watches) == 2
    assert sorted(one.name for one in tmp_path.iterdir()) == ["before.json"]


@linux
def test_a_capture_that_is_full_is_refused_before_anything_is_watched(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "before.json"
    assert main(["capture", "-o", str(path)]) == 0
    empty = Watch(began_at="2026-03-11T10:03:00Z", lasted_ms=1, sources=("looks",), limit_ms=200, watched=())
    full = replace(load(str(path)), watches=(empty,) * 100)
    path.write_text(to_json(full))
    assert main(["watch", "--for", "60", "--add-to", str(path), *PROFILE]) == 3
    assert "holds 100 watches" in capsys.readouterr().err
    assert load(str(path)) == full


def test_a_capture_that_could_not_be_read_again_is_never_written(tmp_path: Path) -> None:
    path = tmp_path / "before.json"
    began = Watch(began_at="2026-03-11T10:03:00Z", lasted_ms=1, sources=("looks",), limit_ms=200, watched=())
    path.write_text(to_json(replace(healthy(), watches=(began,))))
    keeping = keeping_of(None, str(path), healthy(), began, force=False)
    before = path.read_bytes()
    with pytest.raises(BadCapture, match="an event, mark or suspension after its end"):
        keeping.kept(replace(began, marks=(Mark(at_ms=10**9),)), healthy())
    assert path.read_bytes() == before
    assert sorted(one.name for one in tmp_path.iterdir()) == ["before.json", "before.json.part"], "the journal stays"


@linux
def test_a_name_that_was_taken_meanwhile_does_not_cost_the_record(quiet_code: int, tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    with subprocess.Popen(
        [*COMMAND, "--json", "-o", str(path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        run.stdout.readline()
        path.write_text("theirs")
        run.send_signal(signal.SIGINT)
        said = run.stderr.read()
    assert run.returncode == quiet_code, said
    assert path.read_text() == "theirs"
    assert "is there already" in said
    assert str(tmp_path / "record-2.json") in said
    assert record_in(tmp_path / "record-2.json").lasted_ms > 0


@linux
def test_a_folder_that_is_not_there_is_refused_before_anything_is_watched(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["watch", "--for", "60", "-o", str(tmp_path / "nowhere" / "x.json"), *PROFILE]) == 3
    assert "No such file or directory" in capsys.readouterr().err


@linux
def test_a_watch_that_was_cut_off_leaves_a_journal_of_which_its_record_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """SIGKILL cannot be caught (signal(7)): what is left is what a loss of power leaves after the last sync."""
    path, journal = tmp_path / "record.json", tmp_path / "record.json.part"
    with subprocess.Popen([*COMMAND, "--json", "-o", str(path)], stdout=subprocess.PIPE) as run:
        assert run.stdout is not None
        run.stdout.readline()
        run.kill()
    assert [one.name for one in tmp_path.iterdir()] == [journal.name]
    assert main(["check", str(journal)]) == 3
    assert "is the journal of a watch that was cut off" in capsys.readouterr().err
    assert main(["watch", "--recover", str(journal)]) == 0
    assert record_in(path).sources
    assert journal.exists()


def test_a_journal_holds_every_event_and_mark_up_to_where_it_is_damaged(tmp_path: Path) -> None:
    record = sat_through(departed(2000, "4.1"), arrived(4000, device("4.1"))).record()
    record = replace(record, marks=(Mark(at_ms=1000, text="hin\udcffge"),))
    journal = Journal(str(tmp_path / "x.json"), healthy(), replace(record, events=(), marks=(), lasted_ms=0))
    journal.note(record)
    journal.close()
    with Path(journal.path).open("ab") as file:
        file.write(b'{"event":{"at_ms":50\0\0\0')
    capture, left = recovered(journal.path)
    assert capture.watches[:-1] == healthy().watches
    assert capture.watches[-1] == replace(record, marks=(Mark(at_ms=1000, text="hin\\udcffge"),))
    assert (capture.nodes, left) == (healthy().nodes, 23)


@pytest.mark.parametrize("content", [b"", b"{}", b"\0" * 100, b'{"format":"usbwatch-watch-journal","schema":1}'])
def test_what_is_no_journal_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.part"
    path.write_bytes(content)
    with pytest.raises(BadCapture):
        recovered(str(path))


def test_a_sitting_keeps_no_more_than_a_capture_holds() -> None:
    clock, capture = [0], healthy()
    start = Start(began=BEGAN, capture=capture, findings=findings(capture, LARCH), profile=LARCH)
    moves: list[Happening] = [departed(2000, "4.1"), arrived(4000, device("4.1")), departed(5000, "4.1")]
    script = Script(capture, moves, clock)
    places = len(Sitting(Script(capture, (), clock), start, lambda: 0).record().watched)
    sitting = Sitting(script, start, lambda: clock[0], places + 2)
    while clock[0] < 10_000:
        sitting.waited(10_000)
    assert (len(sitting.record().events), sitting.record().missed) == (2, 1)


@linux
def test_a_capture_of_another_unit_is_refused_before_anything_is_watched(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "other.json"
    path.write_text(to_json(healthy()))
    assert main(["watch", "--for", "60", "--add-to", str(path), *PROFILE]) == 3
    assert "another unit" in capsys.readouterr().err
    assert load(str(path)) == healthy()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--root", "."], "a copied tree does not change"),
        (["--no-record", "-o", "x"], "--no-record keeps nothing"),
        (["--no-record", "--add-to", "x"], "--no-record keeps nothing"),
        (["--json", "--lines"], "leave --lines"),
        (["-o", "-"], "give -o the name of a file"),
        (["--add-to", "x", "-o", "y"], "--add-to names the file to write"),
        (["--for", "0"], "0"),
        (["--for", "nan"], "give a number of seconds"),
        (["--for", "inf"], "give a number of seconds"),
        (["--recover", "x", "--no-record"], "--recover writes a record of its own"),
    ],
)
def test_what_does_not_go_together_is_said(
    arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["watch", *arguments]) == 2
    assert sentence in " ".join(capsys.readouterr().err.split())


def test_a_file_that_is_there_is_refused_before_anything_is_watched(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "there.json"
    path.write_text("kept")
    assert main(["watch", "-o", str(path), *PROFILE]) == 3
    assert "is there already" in capsys.readouterr().err
    assert path.read_text() == "kept"


def test_a_system_without_sysfs_gets_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.platform", "darwin")
    assert main(["watch", *PROFILE]) == 3
    assert capsys.readouterr().err.count("\n") == 1


def test_a_second_ctrl_c_is_an_interrupt_and_all_handlers_are_given_back() -> None:
    before = [signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM)]
    with until_ended() as ending:
        os.kill(os.getpid(), signal.SIGINT)
        while not ending.wanted:
            time.sleep(0.001)
        ending.rest()
        with pytest.raises(KeyboardInterrupt):  # noqa: PT012 - the interrupt may come a moment after the signal
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(5)
    assert [signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM)] == before
