"""Nodes of a tree that can be watched, and byte streams heard through real files."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from support.looking import look
from support.units import HERON, LARCH

from usbwatch.capture import CopiedTree
from usbwatch.capture.signs import NATIVE_LONG, Sign
from usbwatch.capture.watched_nodes import SUPPLY_EVERY_MS, LiveNodes, Source, openable, sources
from usbwatch.capture.watching import Happening, Left, Said, Signs
from usbwatch.model import Capture, Kind, Node, Rung

_Tree = Callable[..., Path]
_Pipe = tuple[Source, Callable[[bytes], int], Callable[[], None]]
USB = "pci0000:00/14.0/usb2"


def places(root: Path, capture: Capture | None = None) -> dict[str, str]:
    found = sources(CopiedTree(str(root)), capture or look(root))
    return {source.path: source.node.location for source in found}


def test_the_nodes_of_a_real_tree(real_tree: _Tree) -> None:
    # Read by hand from the links in sys/class/input of the snapshot.
    assert places(real_tree("healthy")) == {
        "/dev/input/event0": "platform/i8042/kbd/input",
        "/dev/input/event1": "acpi/_SB_.LID0/input",
        "/dev/input/event2": "acpi/_SB_.PWRB/input",
        "/dev/input/event3": "acpi/LNXPWRBN/input",
        "/dev/input/event4": "platform/pcspkr/input",
        "/dev/input/event5": f"{USB}/4.2/if0/hid/input",
        "/dev/input/event6": "platform/i8042/aux/input",
        "/dev/input/event7": f"{USB}/4.1/if0/hid/input",
        "/sys/devices/LNXSYSTM:00/LNXSYBUS:00/ACPI0003:00/power_supply/AC0/online": "acpi/_SB_.AC0_/power_supply",
    }


@pytest.mark.parametrize("laptop", [LARCH, HERON], ids=["larch", "heron"])
def test_every_place_is_one_of_the_captures_own(built_tree: _Tree, laptop: object) -> None:
    root = built_tree(laptop)
    capture = look(root)
    own = {(node.bus, node.location) for node in capture.nodes}
    found = sources(CopiedTree(str(root)), capture)
    assert {(source.node.bus, source.node.location) for source in found} <= own
    inputs = [source for source in found if source.node.bus == "input"]
    assert len(inputs) == sum(node.bus == "input" for node in capture.nodes)


def test_what_came_after_the_capture_is_not_watched(real_tree: _Tree) -> None:
    before, after = look(real_tree("keyboard-missing")), real_tree("healthy")
    assert f"{USB}/4.1/if0/hid/input" not in places(after, before).values()


def test_a_node_that_a_program_keeps_quiet_is_known(loose_tree: _Tree) -> None:
    root = loose_tree(HERON)
    capture = look(root)
    keyboard = next(one for one in sources(CopiedTree(str(root)), capture) if one.node.functions == ("keyboard",))
    assert not keyboard.inhibited
    event = root / "sys/class/input" / Path(keyboard.path).name
    # Documentation/input/input-programming.rst, "Inhibiting input devices": 1 in the node's ``inhibited``.
    (event.resolve().parent / "inhibited").write_text("1\n", encoding="utf-8")
    quiet = {one.path for one in sources(CopiedTree(str(root)), capture) if one.inhibited}
    assert quiet == {keyboard.path}


# --- Heard through real files ---------------------------------------------------


def node(location: str, bus: str = "input") -> Node:
    return Node(bus=bus, location=location, kind=Kind.FUNCTION, rung=Rung.WORKING)


def events(*triples: tuple[int, int, int]) -> bytes:
    """``struct input_event`` (include/uapi/linux/input.h) as this machine's kernel gives it to this program."""
    times = bytes(2 * NATIVE_LONG)
    little = [
        kind.to_bytes(2, "little") + code.to_bytes(2, "little") + value.to_bytes(4, "little", signed=True)
        for kind, code, value in triples
    ]
    return b"".join(times + one for one in little)


LETTER, SYN, MOVED = (1, 30, 1), (0, 0, 0), (2, 0, -4)


@pytest.fixture
def pipe(tmp_path: Path) -> Iterator[_Pipe]:
    """A named pipe that stands for an input node: the source, a way to send events, a way to unplug it."""
    path = tmp_path / "event0"
    os.mkfifo(path)
    keeper = os.open(path, os.O_RDWR | os.O_NONBLOCK)
    closed: list[int] = []

    def unplug() -> None:
        os.close(keeper)
        closed.append(keeper)

    yield Source(node=node("platform/i8042/kbd/input"), path=str(path)), lambda data: os.write(keeper, data), unplug
    if not closed:
        os.close(keeper)


def test_events_come_through_a_file(pipe: _Pipe) -> None:
    source, send, _ = pipe
    with LiveNodes((source,), now_ms=lambda: 77) as nodes:
        assert nodes.wait(0) == ()
        send(events(LETTER, SYN, MOVED))
        assert nodes.wait(1) == (
            Signs(at_ms=77, location="platform/i8042/kbd/input", signs=(Sign.LETTER, Sign.MOTION)),
        )
        assert nodes.wait(0) == ()


def test_a_node_that_goes_is_said_once_and_the_rest_is_heard_on(pipe: _Pipe, tmp_path: Path) -> None:
    source, _, unplug = pipe
    other = tmp_path / "event1"
    os.mkfifo(other)
    keeper = os.open(other, os.O_RDWR | os.O_NONBLOCK)
    with LiveNodes((source, Source(node=node("acpi/LID/input"), path=str(other))), now_ms=lambda: 5) as nodes:
        unplug()
        assert nodes.wait(1) == (Left(at_ms=5, location="platform/i8042/kbd/input"),)
        os.write(keeper, events((5, 0, 1)))
        assert nodes.wait(1) == (Signs(at_ms=5, location="acpi/LID/input", signs=(Sign.LID,)),)
    os.close(keeper)


def test_a_node_that_cannot_be_opened_is_left_out(tmp_path: Path) -> None:
    gone = Source(node=node("acpi/LID/input"), path=str(tmp_path / "event9"))
    assert openable(gone) != 0
    with LiveNodes((gone,)) as nodes:
        assert nodes.wait(0) == ()


def test_nothing_is_opened_for_writing(pipe: _Pipe, monkeypatch: pytest.MonkeyPatch) -> None:
    source, _, _ = pipe
    flags: list[int] = []
    really = os.open

    def noted(path: str, how: int) -> int:
        flags.append(how)
        return really(path, how)

    monkeypatch.setattr(os, "open", noted)
    openable(source)
    with LiveNodes((source,)):
        pass
    assert len(flags) == 2
    assert all(how & os.O_ACCMODE == os.O_RDONLY and how & os.O_NONBLOCK for how in flags)


def lines(*happenings: Happening) -> list[bool]:
    return [one.done for one in happenings if isinstance(one, Said)]


WORDS = {"\n": [True], "n\n": [False], " No \n": [False], "nothing came\n": [True], "\n\n": [True, True]}


@pytest.mark.parametrize(("typed", "done"), WORDS.items(), ids=map(repr, WORDS))
def test_words_on_a_terminal(typed: str, done: list[bool]) -> None:
    person, terminal = os.openpty()
    with LiveNodes((), speech=terminal) as nodes:
        os.write(person, typed.encode())
        heard: list[bool] = []
        end = time.monotonic() + 5
        while len(heard) < len(done) and time.monotonic() < end:
            heard += lines(*nodes.wait(0.2))
        assert heard == done
    os.close(person)
    os.close(terminal)


def test_a_terminal_that_closes_says_no_more() -> None:
    person, terminal = os.openpty()
    os.close(person)
    with LiveNodes((), speech=terminal) as nodes:
        assert nodes.wait(0.2) == ()
        began = time.monotonic()
        assert nodes.wait(0.3) == ()
        assert time.monotonic() - began > 0.25, "a closed terminal must not keep the program spinning"
    os.close(terminal)


SUPPLY = "acpi/_SB_.AC0_/power_supply"


def test_a_supply_is_looked_at_once_a_second_and_its_changes_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "online"
    file.write_text("1\n")
    clock = [0]
    looks: list[int] = []
    really = os.pread

    def noted(handle: int, size: int, at: int) -> bytes:
        looks.append(clock[0])
        return really(handle, size, at)

    monkeypatch.setattr(os, "pread", noted)
    with LiveNodes((Source(node=node(SUPPLY, "power_supply"), path=str(file)),), now_ms=lambda: clock[0]) as nodes:
        told: list[Happening] = []
        for clock[0] in range(0, 5000, 100):
            if clock[0] == 1500:
                file.write_text("0\n")
            if clock[0] == 3500:
                file.write_text("1\n")
            told += nodes.wait(0)
    assert told == [
        Signs(at_ms=2000, location=SUPPLY, signs=(Sign.OFFLINE,)),
        Signs(at_ms=4000, location=SUPPLY, signs=(Sign.ONLINE,)),
    ]
    assert all(later - sooner >= SUPPLY_EVERY_MS for sooner, later in pairwise(looks))


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_the_files_are_closed_afterwards(pipe: _Pipe) -> None:
    source, _, _ = pipe
    before = open_files()
    with LiveNodes((source,)):
        assert open_files() > before
    assert open_files() == before
