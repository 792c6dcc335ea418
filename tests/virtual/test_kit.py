"""The kit in the emulated laptop: both collectors and the full program look at the same running system.

The files are those that ``usbwatch kit`` writes in the guest. The collectors
run without usbwatch and its libraries on Python's path.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from virtual.laptop import Laptop
from virtual.test_virtual import comparable

from usbwatch.capture import load
from usbwatch.cli.taking import taken
from usbwatch.model import Capture

pytestmark = pytest.mark.virtual

STICK = "/tmp/stick"
SHELLS = {"ash": "busybox ash", "dash": "dash"}


def run(laptop: Laptop, command: str, *, by: str = "root") -> str:
    """What a command says in the guest; it must end well."""
    outcome = laptop.machine.run(command if by == "root" else f"su {by} -c '{command}'")
    assert outcome.code == 0, outcome.output
    return outcome.output


@pytest.fixture(scope="module")
def stick(healthy_laptop: Laptop) -> str:
    """The kit in a folder of the guest that everybody may write to, as on a stick."""
    run(healthy_laptop, f"mkdir -p {STICK} && chmod 777 {STICK} && python3 -m usbwatch kit {STICK} >/tmp/kit.out")
    return STICK


def fetched(laptop: Laptop, path: str, folder: Path) -> str:
    here = folder / Path(path).name
    here.write_bytes(laptop.machine.fetch(path))
    return str(here)


@pytest.fixture(scope="module")
def full(healthy_laptop: Laptop, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Capture]:
    """The full program's captures of the running guest, by user."""
    folder = tmp_path_factory.mktemp("full")
    captures = {}
    for by in ("root", "bench"):
        run(healthy_laptop, f"python3 -m usbwatch capture -o /tmp/{by}-full.json --force 2>/tmp/{by}.err", by=by)
        captures[by] = load(fetched(healthy_laptop, f"/tmp/{by}-full.json", folder))
    return captures


@pytest.mark.parametrize("by", ["root", "bench"])
def test_the_python_collector_captures_what_the_full_program_does(
    healthy_laptop: Laptop, full: dict[str, Capture], stick: str, tmp_path: Path, by: str
) -> None:
    command = f"env -u PYTHONPATH python3 {stick}/capture.py --wait 0 -o {stick}/py-{by}.json 2>{stick}/{by}.err"
    run(healthy_laptop, command, by=by)
    made = load(fetched(healthy_laptop, f"{stick}/py-{by}.json", tmp_path))
    assert len(made.nodes) > 100
    assert made.system == full[by].system
    assert made.tool == full[by].tool
    assert without_length_of_log(made) == without_length_of_log(full[by])


def without_length_of_log(capture: Capture) -> Capture:
    """Without the time, and the number of lines of the log, which the kernel goes on writing."""
    coverage = (replace(one, nodes=0) if one.bus == "log" else one for one in capture.coverage)
    return replace(capture, taken_at="", coverage=tuple(coverage))


@pytest.mark.parametrize(("shell", "by"), list(zip(SHELLS, ("root", "bench"), strict=True)))
def test_the_shell_collector_gathers_what_the_full_program_sees(
    healthy_laptop: Laptop, full: dict[str, Capture], stick: str, tmp_path: Path, *, shell: str, by: str
) -> None:
    archive = f"{stick}/{shell}-{by}.tar"
    command = f"{SHELLS[shell]} {stick}/capture.sh --shell --wait 0 -o {archive} 2>{stick}/{shell}-{by}.err"
    run(healthy_laptop, command, by=by)
    made = taken(fetched(healthy_laptop, archive, tmp_path), None)
    assert len(made.nodes) > 100
    assert replace(made.system, source="live") == full[by].system
    assert made.taken_at > full[by].taken_at
    assert made.tool == full[by].tool
    assert comparable(made) == comparable(full[by])


def test_nothing_stays_in_the_unit(healthy_laptop: Laptop, stick: str) -> None:
    said = run(
        healthy_laptop, f"ls -d /dev/shm/usbwatch* /run/usbwatch* /tmp/usbwatch* {stick}/.??* 2>/dev/null || true"
    )
    assert said == ""
