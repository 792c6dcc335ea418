"""Thousands of captures in one run: all cores at work, each result in its place and at once, and nobody left behind.

Seen from outside, as a shell runs it: a job is a process group, and Ctrl-C goes to all of it (POSIX.1-2024, XBD 11.1.4
and 11.1.9). So "nobody left behind" is that the group is empty.
"""

from __future__ import annotations

import fcntl
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from support.bench import clean_environment, lay_out, run

from usbwatch.cli import main, many_checks
from usbwatch.cli.cores import AHEAD, in_order, usable_cores, workers_for
from usbwatch.cli.one_check import CheckRequest, CheckResult, result_of

MANY = 32
"""Captures: their results are more than a pipe of one page and two workers hold."""
PAGE = 4096


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    return lay_out(tmp_path)


def several(bench: Path, count: int) -> list[str]:
    """Names of so many captures, every second one of a unit that lost something."""
    names = [f"{number:03}.json" for number in range(count)]
    for number, name in enumerate(names):
        shutil.copy(bench / ("lost.json" if number % 2 else "whole.json"), bench / name)
    return names


@contextmanager
def job(bench: Path, *arguments: str) -> Iterator[subprocess.Popen[bytes]]:
    """A run on two cores, in a process group of its own, whose output is read when the test reads it."""
    ours = os.sched_getaffinity(0)
    os.sched_setaffinity(0, sorted(ours)[:2])  # which it inherits
    try:
        begun = subprocess.Popen(
            [sys.executable, "-m", "usbwatch", *arguments],
            cwd=bench,
            env=clean_environment(bench),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
    finally:
        os.sched_setaffinity(0, ours)
    with begun as process:
        assert process.stdout is not None
        fcntl.fcntl(process.stdout, fcntl.F_SETPIPE_SZ, PAGE)
        yield process
    deadline = time.monotonic() + 20
    while _alive(process.pid):
        assert time.monotonic() < deadline, "a worker was left behind"
        time.sleep(0.02)


def _alive(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def children(process: subprocess.Popen[bytes]) -> list[int]:
    """Processes that it has begun (proc_pid_task(5))."""
    told = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    return [int(one) for one in told.read_text().split()]


def workers(process: subprocess.Popen[bytes]) -> list[int]:
    """Those of them that check captures."""
    return [one for one in children(process) if b"spawn_main" in Path(f"/proc/{one}/cmdline").read_bytes()]


def test_many_are_checked_as_each_is_alone_in_the_order_of_the_arguments(bench: Path) -> None:
    names = several(bench, MANY)
    names[10:10] = ["broken.json", "nothing.json"]
    done = run(bench, "check", *names, "--json")
    document = json.loads(done.stdout)
    assert list(document) == ["format", "schema", "checks"]
    assert [one.pop("path") for one in document["checks"]] == names
    alone = {name: json.loads(run(bench, "check", name, "--json").stdout) for name in ("lost.json", "whole.json")}
    for number, one in enumerate([*document["checks"][:10], *document["checks"][12:]]):
        assert one == alone["lost.json" if number % 2 else "whole.json"]
    assert "is no JSON document" in document["checks"][10]["problem"]
    assert "nothing.json" in document["checks"][11]["problem"]
    assert (done.returncode, done.stderr.count("\n")) == (3, 2)
    assert done.stdout == json.dumps(json.loads(done.stdout), indent=2) + "\n"


def test_many_pages_are_those_that_a_few_give(bench: Path) -> None:
    names = several(bench, MANY)
    together, last = run(bench, "check", *names).stdout, run(bench, "check", *names[-2:]).stdout
    pages = [f"capture {number} of {MANY}: {name}" for number, name in enumerate(names, 1)]
    places = [together.index(page) for page in pages]
    assert places == sorted(places)
    last_page = last.partition("capture 2 of 2: 031.json")[2].partition("IN ALL")[0]
    assert len(last_page) > 1000
    assert last_page in together
    assert together.index("IN ALL: 32 CAPTURES") > together.index(last_page)


def test_below_the_pages_stands_what_each_came_to(bench: Path) -> None:
    lost, whole = [f"lost-{number}.json" for number in range(22)], ["whole-0.json", "a\x1b[2J.json"]
    for name in (*lost, *whole):
        (bench / name).write_bytes((bench / ("lost.json" if name in lost else "whole.json")).read_bytes())
    done = run(bench, "check", "broken.json", *whole, *lost)
    told = done.stdout.partition("IN ALL: 25 CAPTURES\n")[2]
    assert told.startswith("  22 wrong, 1 that could not be checked and 2 whole\n")
    rows = re.findall(r"^(\S \w+) +(\S+)$", told, re.MULTILINE)
    assert rows[:20] == [("✗ WRONG", name) for name in lost[:20]]
    assert rows[20:] == [("! unchecked", "broken.json"), ("✓ whole", "whole-0.json"), ("✓ whole", "a\\x1b[2J.json")]
    assert "and 2 more" in told
    assert told.count("Likeliest cause: ") == told.count("1 of 2 expected devices is missing") == 20
    assert "IN ALL" not in run(bench, "check", *whole, *lost, "--json").stdout


def test_a_notice_stands_before_its_own_page(bench: Path) -> None:
    """Standard error and output to one file, as ``2>&1`` does it."""
    names = several(bench, MANY)
    names[12] = "stranger.json"
    command = [sys.executable, "-m", "usbwatch", "check", *names]
    done = subprocess.run(
        command,
        cwd=bench,
        env=clean_environment(bench),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    parts = [
        done.stdout.index(one)
        for one in (f"capture 12 of {MANY}", "no profile fits", f"capture 13 of {MANY}: stranger")
    ]
    assert parts == sorted(parts)


def test_an_answer_that_one_profile_lacks_is_told_in_its_place(bench: Path) -> None:
    done = run(bench, "check", "whole.json", "stranger.json", "--answer", "caps-light=yes", "--json")
    first, second = json.loads(done.stdout)["checks"]
    assert (done.returncode, first["outcome"]) == (2, "whole")
    assert second["problem"].startswith("capture stranger.json: ")
    assert "no hand check 'caps-light'" in second["problem"]


def test_a_mistake_of_ours_in_one_capture_is_told_in_its_place(
    bench: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(bench)
    monkeypatch.setenv("USBWATCH_PROFILES", "profiles")
    right = result_of

    def wrong(path: str, request: CheckRequest) -> CheckResult:
        if path == "lost.json":
            raise KeyError("a bug \x1b[2J")
        return right(path, request)

    monkeypatch.setattr(many_checks, "result_of", wrong)
    assert main(["check", "lost.json", "whole.json", "--json", "--book", "none.sqlite"]) == 1
    out, err = capsys.readouterr()
    first, second = json.loads(out)["checks"]
    assert first["problem"].startswith("capture lost.json: this is a bug in usbwatch itself: KeyError: 'a bug")
    assert "usbwatch --debug check lost.json" in first["problem"]
    assert second["outcome"] == "whole"
    assert err.count("\n") == 1
    assert "\x1b" not in err


def test_output_begins_at_once_and_little_is_worked_on_ahead(bench: Path) -> None:
    """What stands last is changed when the first results are there, and the change is seen."""
    names = several(bench, MANY)
    with job(bench, "check", *names, "--json") as process:
        assert process.stdout is not None
        first = process.stdout.read(1000)
        (bench / names[-1]).write_text("{", encoding="utf-8")
        document = json.loads(first + process.stdout.read())
    assert "problem" in document["checks"][-1]
    assert all("problem" not in one for one in document["checks"][:-1])
    assert process.returncode == 3


def test_a_reader_that_has_enough_ends_it_quietly(bench: Path) -> None:
    with job(bench, "check", *several(bench, MANY), "--json") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.read(1000)
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 141


@pytest.mark.parametrize("when", ["a worker is starting", "results come"])
def test_ctrl_c_ends_it_with_130_and_one_line(bench: Path, when: str) -> None:
    with job(bench, "check", *several(bench, MANY), "--json") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        if when == "results come":
            process.stdout.read(1000)
        while process.poll() is None and usable_cores() > 1 and not workers(process):
            time.sleep(0.001)
        os.killpg(process.pid, signal.SIGINT)
        process.stdout.read()
        assert process.stderr.read().decode().strip() == "usbwatch: interrupted."
    assert process.returncode == 130


@pytest.mark.skipif(usable_cores() < 2, reason="one core: there are no workers")
def test_a_worker_that_is_killed_is_one_sentence(bench: Path) -> None:
    with job(bench, "check", *several(bench, MANY), "--json") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.read(1000)
        os.kill(workers(process)[0], signal.SIGKILL)
        process.stdout.read()
        told = process.stderr.read().decode()
    assert process.returncode == 3
    assert told.count("\n") == 1
    assert "a process of this run was ended from outside (killed, or memory ran out) after " in told
    assert f" of {MANY} files" in told


def test_workers_end_with_a_run_that_is_killed(bench: Path) -> None:
    with job(bench, "check", *several(bench, MANY), "--json") as process:
        assert process.stdout is not None
        process.stdout.read(1000)
        process.kill()
        process.stdout.close()
    assert process.returncode == -signal.SIGKILL


def test_a_core_that_this_process_may_not_use_gets_no_worker() -> None:
    assert [workers_for(count) for count in (0, 1, 2, 15, 31)] == [0] * 5
    most = workers_for(10_000)
    assert most == (usable_cores() if usable_cores() > 1 else 0)


def test_without_semaphores_one_process_checks_them_all(bench: Path) -> None:
    if subprocess.run(["unshare", "--mount", "true"], capture_output=True, check=False).returncode:
        pytest.skip("only root may mount a file system for one process (unshare(1))")
    names = several(bench, MANY)
    command = f"mount -t tmpfs -o ro none /dev/shm && exec {sys.executable} -m usbwatch check --json {' '.join(names)}"
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", command],
        cwd=bench,
        env=clean_environment(bench),
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stderr, len(json.loads(done.stdout)["checks"])) == ("", MANY)


def test_little_is_taken_ahead_of_what_is_handed_back() -> None:
    taken: list[int] = []

    class Watched(list[int]):
        def __iter__(self) -> Iterator[int]:
            for one in super().__iter__():
                taken.append(one)
                yield one

    with closing(in_order(abs, Watched(range(-1000, 0)), 1)) as found:
        assert [next(found) for _ in range(3)] == [1000, 999, 998]
        assert len(taken) <= 3 + AHEAD
