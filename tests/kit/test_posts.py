"""A collector posts to a real ``usbwatch listen``, and what it captured stays on the stick whatever becomes of that."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from support.kits import PYTHON, collect, stick_of
from support.listening import listening

from usbwatch.capture import load
from usbwatch.kit import posting

_Tree = Callable[..., Path]


def test_a_note_on_the_stick_is_enough(kit: Path, real_tree: _Tree, tmp_path: Path) -> None:
    stick = stick_of(kit, tmp_path / "stick")
    with listening(tmp_path) as server:
        (stick / "post-to.txt").write_text(f"127.0.0.1:{server.port}\r\n", encoding="utf-8")
        said = collect((*PYTHON, str(stick / "capture.py")), "--root", str(real_tree("healthy")))
        server.said(r"(\{.*\})\n", on="results")
    (kept,) = server.folder.glob("*.json")
    (saved,) = stick.glob("*.json")
    assert load(str(kept)) == load(str(saved))
    assert f"The bench: kept as {kept.name}" in said
    assert said.splitlines()[-1].endswith(f"This stick has it too: usbwatch check {saved.name}")


def test_a_bench_that_nobody_answers_from_is_not_waited_for_as_one_that_is_busy() -> None:
    """A clock that the waits alone move: 503 is asked again for a minute, a closed port for ten seconds."""
    assert 5 < waits("closed") < 12
    assert 50 < waits("busy") < 62


def waits(bench: str) -> float:
    """The seconds that a sender waits between its attempts."""
    now = [0.0]

    def wait(seconds: float) -> None:
        now[0] += seconds

    refused = (None, "nobody listens")
    busy = (posting._Answer(503, "busy", None), "")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(time, "monotonic", lambda: now[0])
        patch.setattr(posting, "_asked", lambda *_: refused if bench == "closed" else busy)
        with pytest.raises(posting.NotPosted):
            posting.post(b"{}", "192.0.2.7", sleep=wait)
    return now[0]


def test_a_wrong_address_costs_no_capture(kit: Path, real_tree: _Tree, tmp_path: Path) -> None:
    """What is no address is refused before anything is sent."""
    stick = stick_of(kit, tmp_path / "stick")
    options = ("--root", str(real_tree("healthy")), "--post", "no address at all", "--code", "1")
    said = collect((*PYTHON, str(stick / "capture.py")), *options, code=4)
    (saved,) = stick.glob("*.json")
    assert said.splitlines()[-2].startswith("usbwatch: the capture is saved and was not posted: ")
    assert said.splitlines()[-1] == f"At the bench computer: usbwatch check {saved.name}"
    assert load(str(saved)).unit.product_name == "Larch 13"
    assert saved.with_suffix(".txt").exists()


def test_a_wrong_code_is_told(kit: Path, real_tree: _Tree, tmp_path: Path) -> None:
    """Whoever answers with 403, as HTTP says (RFC 9110 section 15.5.4), has refused; it is not asked again."""
    stick = stick_of(kit, tmp_path / "stick")
    with socket.create_server(("127.0.0.1", 0)) as bench:

        def refuse() -> None:
            connection, _ = bench.accept()
            with connection:
                connection.recv(65_536)
                connection.sendall(b"HTTP/1.1 403 Forbidden\r\nContent-Length: 5\r\nConnection: close\r\n\r\nwrong")

        threading.Thread(target=refuse, daemon=True).start()
        address = f"127.0.0.1:{bench.getsockname()[1]}"
        options = ("--root", str(real_tree("healthy")), "--post", address, "--code", "000000")
        said = collect((*PYTHON, str(stick / "capture.py")), *options, code=4)
    assert "was not posted" in said.splitlines()[-2]
    assert list(stick.glob("*.json"))
