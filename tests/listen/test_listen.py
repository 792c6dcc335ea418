"""``usbwatch listen`` as a bench uses it: a real server, a real socket, clients that nobody here wrote."""

from __future__ import annotations

import contextlib
import fcntl
import http.client
import io
import json
import os
import signal
import socket
import subprocess
import sys
import tarfile
import time
from pathlib import Path
from typing import IO

import h11
import pytest
from support.bench import small_capture
from support.listening import CAPTURES, Server, listening, posted
from support.needs import needed_tool
from support.units import LARCH

from usbwatch.capture import load, to_json
from usbwatch.capture.saved import load_saved
from usbwatch.kit.posting import NotPosted, post
from usbwatch.listen.spool import swept

_LOST = CAPTURES / "larch-13-top-case-lost.json"


def _archive(root: Path) -> bytes:
    file = io.BytesIO()
    with tarfile.open(fileobj=file, mode="w:gz", format=tarfile.PAX_FORMAT) as archive:
        archive.add(root, ".")
    return file.getvalue()


def _curl(server: Server, *options: str) -> str:
    """By the distribution's curl; the body of the answer, and its status behind it."""
    curl = needed_tool("curl", "curl")
    done = subprocess.run(
        [curl, "-sS", "-w", "%{http_code}", *options, f"http://127.0.0.1:{server.port}/capture"],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def _kept(server: Server) -> list[Path]:
    return sorted(server.folder.glob("*.json"))


def test_a_capture_that_curl_posts_is_kept_checked_and_shown(tmp_path: Path) -> None:
    with listening(tmp_path) as server:
        said = _curl(server, "-H", "Content-Type: application/json", "--data-binary", f"@{_LOST}")
        (kept,) = _kept(server)
        assert said.startswith(f"usbwatch: kept as {kept.name}, sha256:")
        assert said.endswith("\n201")
        assert load(str(kept)) == load(str(_LOST))
        line = json.loads(server.said(r"(\{.*\})\n", on="results"))
    assert (line["file"], line["outcome"]) == (kept.name, "wrong")
    assert line["verdict"] == "3 of 19 expected devices are missing; 1 is impaired"
    assert (line["product_name"], line["product_serial"]) == ("Larch 13", "LG-0001-DEMO")
    assert kept.name.startswith("larch-13-")


def test_an_archive_that_curl_posts_in_chunks_becomes_a_capture(tmp_path: Path, built_tree: object) -> None:
    assert callable(built_tree)
    (tmp_path / "unit.tar.gz").write_bytes(_archive(built_tree(LARCH)))
    with listening(tmp_path) as server:
        said = _curl(
            server,
            *("-H", "Content-Type: application/gzip", "-H", "Transfer-Encoding: chunked"),
            *("--data-binary", f"@{tmp_path / 'unit.tar.gz'}"),
        )
        assert said.endswith("\n201")
        (kept,) = _kept(server)
        assert load(str(kept)).unit.product_name == "Larch 13"


def test_curl_that_waits_for_a_word_gets_it(tmp_path: Path) -> None:
    """RFC 9110 section 10.1.1: 100 (Continue), and not when it is refused."""
    with listening(tmp_path) as server:
        waits = ("-v", "-H", "Expect: 100-continue", "--data-binary", f"@{_LOST}")
        assert _curl(server, *waits, "-H", "Content-Type: application/json").endswith("201")
        curl = needed_tool("curl", "curl")
        address = f"http://127.0.0.1:{server.port}/capture"
        refused = subprocess.run([curl, *waits, address], capture_output=True, text=True, check=True)
    assert "100" not in [line.split()[2] for line in refused.stderr.splitlines() if line.startswith("< HTTP")]
    assert "say what it is: Content-Type" in refused.stdout


def test_busybox_wget_posts_too(tmp_path: Path) -> None:
    """The line in docs/listen.md for a unit that has busybox alone."""
    busybox = needed_tool("busybox", "busybox-static")
    with listening(tmp_path) as server:
        done = subprocess.run(
            [
                *(busybox, "wget", "-q", "-O", "-", "--header", "Content-Type: application/json"),
                *(f"--post-file={_LOST}", f"http://127.0.0.1:{server.port}/capture"),
            ],
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stdout.startswith("usbwatch: kept as larch-13-")
        assert len(_kept(server)) == 1


def test_the_standard_librarys_client_posts(tmp_path: Path) -> None:
    with listening(tmp_path) as server:
        connection = http.client.HTTPConnection("127.0.0.1", server.port)
        connection.request("POST", "/capture", _LOST.read_bytes(), {"Content-Type": "application/json"})
        assert connection.getresponse().status == 201
        connection.close()


def test_the_answer_is_http_as_another_implementation_reads_it(tmp_path: Path) -> None:
    """h11's client side reads every byte of it, to the end of the connection."""
    with listening(tmp_path) as server:
        client = h11.Connection(h11.CLIENT)
        fields = [("Host", "127.0.0.1"), ("Content-Type", "text/plain"), ("Content-Length", "1")]
        sent = client.send(h11.Request(method="POST", target="/capture", headers=fields))
        sent += client.send(h11.Data(data=b"x")) + client.send(h11.EndOfMessage())
        client.receive_data(server.asked(sent))
        client.receive_data(b"")
        response, body = client.next_event(), client.next_event()
        assert isinstance(response, h11.Response)
        assert response.status_code == 415
        assert (b"connection", b"close") in list(response.headers)
        assert isinstance(body, h11.Data)
        assert isinstance(client.next_event(), h11.EndOfMessage)


def test_the_same_capture_is_kept_once(tmp_path: Path) -> None:
    with listening(tmp_path) as server:
        first, again = (server.asked(posted(_LOST.read_bytes())) for _ in range(2))
        assert b" 201 " in first.splitlines()[0]
        assert b" 200 " in again.splitlines()[0]
        assert b"there already as larch-13-" in again
        assert len(_kept(server)) == 1


def test_the_same_capture_from_five_at_once_is_kept_once(tmp_path: Path) -> None:
    with listening(tmp_path, receiving=20) as server:
        connections = [server.connect() for _ in range(5)]
        for connection in connections:
            connection.sendall(posted(_LOST.read_bytes()))
        answers = [connection.makefile("rb").read() for connection in connections]
        for connection in connections:
            connection.close()
        assert sorted(answer.split()[1] for answer in answers) == [b"200"] * 4 + [b"201"]
        assert len(_kept(server)) == 1


def test_two_captures_of_one_second_have_names_of_their_own(tmp_path: Path) -> None:
    with listening(tmp_path) as server:
        for name in ("larch-13-healthy", "larch-13-top-case-lost", "larch-13-repaired"):
            assert b" 201 " in server.asked(posted((CAPTURES / f"{name}.json").read_bytes()))
        assert len(_kept(server)) == 3
        assert len({load_saved(str(path)).digest for path in _kept(server)}) == 3


def test_a_file_that_is_there_is_never_overwritten_nor_believed(tmp_path: Path) -> None:
    """A file that only claims the digest does not stand for the capture."""
    with listening(tmp_path) as server:
        digest = load_saved(str(_LOST)).digest
        (server.folder / "claims.json").write_text(f'{{\n "digest": "{digest}"\n}}\n', encoding="utf-8")
        assert b" 201 " in server.asked(posted(_LOST.read_bytes()))
        assert len(_kept(server)) == 2
        assert (server.folder / "claims.json").stat().st_size < 120


# --- The code ---------------------------------------------------------------------------


def test_other_computers_need_the_code_and_each_capture_uses_one_up(tmp_path: Path) -> None:
    with listening(tmp_path, address="0.0.0.0") as server:
        first = server.code
        assert b" 401 " in server.asked(posted(_LOST.read_bytes()))
        assert b" 401 " in server.asked(posted(_LOST.read_bytes(), code="AAAA-AAAA"))
        assert server.files() == []
        address = f"127.0.0.1:{server.port}"
        assert post(_LOST.read_bytes(), address, first).startswith("kept as larch-13-")
        server.said(r"\n  code (\S+)\n", times=2)
        assert server.code != first
        with pytest.raises(NotPosted, match="did not take the code: the code is wrong or used up"):
            post((CAPTURES / "larch-13-healthy.json").read_bytes(), address, first)
        assert post(_LOST.read_bytes(), address, first).startswith("there already as larch-13-")
        assert post((CAPTURES / "larch-13-healthy.json").read_bytes(), address, server.code).startswith("kept as")
        assert len(_kept(server)) == 2


def test_a_wrong_code_is_refused_before_the_body_is_read(tmp_path: Path) -> None:
    with listening(tmp_path, address="0.0.0.0") as server, server.connect() as connection:
        connection.sendall(posted(b"", length=60 * 1024 * 1024, code="AAAAAAAA"))
        assert connection.recv(4096).startswith(b"HTTP/1.1 401 ")


def test_what_is_not_kept_does_not_use_the_code_up(tmp_path: Path) -> None:
    with listening(tmp_path, address="0.0.0.0") as server:
        code = server.code
        assert b" 422 " in server.asked(posted(b'{"format": "something else"}', code=code))
        assert b" 201 " in server.asked(posted(_LOST.read_bytes(), code=code))


def test_one_code_can_do_for_several_units(tmp_path: Path) -> None:
    with listening(tmp_path, address="0.0.0.0", same=True) as server:
        for name in ("larch-13-healthy", "heron-14-healthy"):
            assert b" 201 " in server.asked(posted((CAPTURES / f"{name}.json").read_bytes(), code=server.code))


# --- The sender in the kit ------------------------------------------------------------------


def test_the_kit_tells_what_it_is_by_how_it_begins(tmp_path: Path, built_tree: object) -> None:
    assert callable(built_tree)
    with listening(tmp_path) as server:
        address = f"http://127.0.0.1:{server.port}/"
        assert post(_archive(built_tree(LARCH)), address).startswith("kept as larch-13-")
        assert post(to_json(small_capture()).encode(), address).startswith("kept as plover-s-")
        with pytest.raises(NotPosted, match="neither a capture nor"):
            post(b"MZ", address)


def test_the_kit_comes_again_when_the_bench_is_busy(tmp_path: Path) -> None:
    with listening(tmp_path, address="0.0.0.0", same=True, receiving=1) as server:
        slow = server.connect()
        slow.sendall(posted(b"{", length=1000, code=server.code))
        waits: list[float] = []

        def wait(seconds: float) -> None:
            waits.append(seconds)
            slow.close()

        while not server.files():
            pass
        said = post(_LOST.read_bytes(), f"127.0.0.1:{server.port}", server.code, sleep=wait)
        assert said.startswith("kept as larch-13-")
        assert waits[0] == 2, "what Retry-After asks for"


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


_NOT_POSTED = {
    "nobody there": (lambda: f"127.0.0.1:{_free_port()}", "nobody listens at 127.0.0.1"),
    "no address": (lambda: "bench or so", "is no address"),
    "no port": (lambda: "127.0.0.1:99999", "is no address"),
    "escapes": (lambda: "\x1b[2J", r"\\x1b"),
}


@pytest.mark.parametrize(("address", "problem"), _NOT_POSTED.values(), ids=_NOT_POSTED)
def test_the_kit_says_in_one_sentence_why_nothing_was_sent(address: object, problem: str) -> None:
    assert callable(address)
    waited: list[float] = []
    with pytest.raises(NotPosted, match=problem) as caught:
        post(b"{}", address(), patience_s=2, sleep=waited.append)
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)


def test_the_kit_hears_that_it_is_too_large_while_it_still_sends(tmp_path: Path) -> None:
    with listening(tmp_path, largest=100_000) as server, pytest.raises(NotPosted, match="larger than 0 MiB"):
        post(b"{" + b" " * 30_000_000, f"127.0.0.1:{server.port}", patience_s=5)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b'{"format": "x"}', "it is no capture of a unit; send the file that the kit made"),
        (b'{"format": "usbwatch-capture"}', 'capture that was posted: has no "schema" number'),
        (b"\x1f\x8b" + b"x" * 99, "tree that was posted: is packed with gzip and damaged"),
    ],
)
def test_the_kit_hears_why_it_was_not_taken(tmp_path: Path, content: bytes, problem: str) -> None:
    with listening(tmp_path) as server, pytest.raises(NotPosted, match=problem):
        post(content, f"127.0.0.1:{server.port}")


@pytest.mark.parametrize("answer", [b"SSH-2.0-x\r\n", b"", b"HTTP/1.1 200 \r\n\r\n\x1b[2Jfine", b"\0" * 100])
def test_the_kit_shows_nothing_that_a_stranger_could_fake_lines_with(answer: bytes) -> None:
    """What listens may be anything: only a 200 or 201 is believed, and made safe."""
    with socket.create_server(("127.0.0.1", 0)) as stranger:
        port = int(stranger.getsockname()[1])
        code = (
            "import sys; from usbwatch.kit.posting import post, NotPosted\n"
            f"try: print(post(b'{{}}', '127.0.0.1:{port}', patience_s=0))\n"
            "except NotPosted as error: print(error)"
        )
        client = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        connection, _ = stranger.accept()
        with connection:
            connection.recv(65_536)
            connection.sendall(answer)
        out, err = client.communicate(timeout=60)
    assert err == b""
    assert out.count(b"\n") == 1
    assert b"\x1b" not in out


# --- How it ends --------------------------------------------------------------------------------


def test_ctrl_c_ends_it_well_and_what_is_being_received_is_finished(tmp_path: Path) -> None:
    body = _LOST.read_bytes()
    with listening(tmp_path) as server, server.connect() as connection:
        request = posted(body)
        connection.sendall(request[:-1000])
        while not any(name.endswith(".part") for name in server.files()):
            pass
        server.process.send_signal(signal.SIGINT)
        server.said("ending; what is being received")
        connection.sendall(request[-1000:])
        assert b" 201 " in connection.makefile("rb").read()
        assert server.process.wait(60) == 0
        assert [load(str(path)) for path in _kept(server)] == [load(str(_LOST))]
        assert len(server.files()) == 1


def test_a_sender_that_never_ends_does_not_keep_it_from_ending(tmp_path: Path) -> None:
    with listening(tmp_path, stop_s=0.2) as server, server.connect() as connection:
        connection.sendall(posted(b"{", length=1000))
        while not server.files():
            pass
        server.process.send_signal(signal.SIGTERM)
        assert server.process.wait(60) == 0
        assert server.files() == []


def test_what_was_acknowledged_is_there_after_a_kill(tmp_path: Path) -> None:
    with listening(tmp_path) as server:
        answer = server.asked(posted(_LOST.read_bytes()))
        server.process.kill()
        assert b" 201 " in answer
        name = answer.partition(b"kept as ")[2].partition(b",")[0].decode()
        assert load(str(server.folder / name)) == load(str(_LOST))


def _is_held(path: Path) -> bool:
    """Whether somebody holds a lock on a file: a server takes it in the moment after the file is made."""
    with path.open("rb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
    return False


def test_what_a_killed_server_left_half_received_is_swept_at_the_next_start(tmp_path: Path) -> None:
    (tmp_path / "first").mkdir()
    with listening(tmp_path / "first") as server, server.connect() as connection:
        connection.sendall(posted(b"{", length=1000))
        while not any(_is_held(server.folder / name) for name in server.files()):
            pass
        assert swept(server.folder) == 0, "it is still being received"
        server.process.kill()
        server.process.wait()
        (left,) = server.folder.iterdir()
    assert swept(left.parent) == 1
    assert not left.exists()


def test_only_what_is_surely_ours_is_swept(tmp_path: Path) -> None:
    """A kit's own draft, a link, a folder and a pipe may have such a name too."""
    precious = tmp_path / "precious"
    precious.write_text("keep")
    (tmp_path / f".usbwatch-{'0' * 16}.part").symlink_to(precious)
    (tmp_path / f".usbwatch-{'1' * 16}.part").mkdir()
    os.mkfifo(tmp_path / f".usbwatch-{'2' * 16}.part")
    for name in (".usbwatch-4711.part", f".usbwatch-{'3' * 16}.part.json", f".usbwatch-{'G' * 16}.part"):
        (tmp_path / name).write_text("keep")
    before = sorted(tmp_path.iterdir())
    assert swept(tmp_path) == 0
    assert swept(tmp_path / "nowhere") == 0
    assert sorted(tmp_path.iterdir()) == before
    (tmp_path / f".usbwatch-{'4' * 16}.part").write_text("{")
    assert swept(tmp_path) == 1
    assert sorted(tmp_path.iterdir()) == before


# --- The command ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (("--into", "nowhere"), 3, "output nowhere: is no folder; make it first"),
        (("--address", "bench.example"), 2, "give an address of this computer in numbers"),
        (("--address", "203.0.113.7"), 3, "cannot listen at 203.0.113.7, port 7613"),
        (("--profile", "nothing"), 3, "no profile named nothing"),
    ],
    ids=["no folder", "a name", "not ours", "no profile"],
)
def test_what_cannot_be_is_one_sentence(tmp_path: Path, options: tuple[str, ...], code: int, said: str) -> None:
    """203.0.113.0/24 is no machine's address (RFC 5737)."""
    done = subprocess.run(
        [sys.executable, "-m", "usbwatch", "listen", *options],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": ":".join(filter(None, sys.path))},
    )
    assert done.returncode == code
    assert said in " ".join(done.stderr.split())


# --- A screen, a disk or a terminal that goes ---------------------------------------------------------


_PATIENT = """
import sys
from usbwatch.cli import listening, main
from usbwatch.listen import Limits
serve, limits = listening.serve, Limits(idle_s=600, grace_s=600, body_s=600, stop_s=600)
listening.serve = lambda request: serve(request, limits)
sys.exit(main(["listen", "--port", "0", "--into", *sys.argv[1:]]))
"""


def _command(folder: Path, *options: str) -> list[str]:
    """The command, with more patience than it has, for a machine that has much else to do."""
    return [sys.executable, "-c", _PATIENT, str(folder), *options]


def _environ() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": ":".join(filter(None, sys.path)), "COLUMNS": "200"}


def _still(output: IO[str] | None) -> IO[str]:
    assert output is not None
    return output


def _port(line: str) -> int:
    return int(line.partition("/capture")[0].rpartition(":")[2])


def _answered(port: int, request: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=60) as connection, connection.makefile("rb") as answer:
        connection.sendall(request)
        return answer.read()


@pytest.mark.parametrize("gone", ["stdout", "stderr"])
def test_a_closed_output_ends_it_after_what_is_in_hand(tmp_path: Path, gone: str) -> None:
    """141 is 128 + SIGPIPE, what a POSIX shell reports of a program whose reader has gone."""
    request = posted((CAPTURES / "larch-13-healthy.json").read_bytes())
    with contextlib.ExitStack() as open_:
        server = open_.enter_context(
            subprocess.Popen(
                _command(tmp_path, "--json"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=_environ()
            )
        )
        open_.callback(server.kill)
        outputs = {"stdout": server.stdout, "stderr": server.stderr}
        port = _port(_still(outputs["stderr"]).readline())
        slow = open_.enter_context(socket.create_connection(("127.0.0.1", port), timeout=60))
        slow.sendall(request[:-1000])
        while not any(tmp_path.iterdir()):
            time.sleep(0.02)
        _still(outputs.pop(gone)).close()
        assert b" 201 " in _answered(port, posted(_LOST.read_bytes()))
        with contextlib.suppress(ConnectionRefusedError):
            while True:  # until it has noticed, and takes no more connections
                socket.create_connection(("127.0.0.1", port)).close()
                time.sleep(0.1)
        slow.sendall(request[-1000:])
        with slow.makefile("rb") as answer:
            assert b" 201 " in answer.read()
        left = "".join(_still(output).read() for output in outputs.values())
        assert server.wait(60) == 141
    assert "Traceback" not in left
    assert "never retrieved" not in left
    assert left.count('"outcome"') == (2 if gone == "stderr" else 0)
    assert len(list(tmp_path.iterdir())) == 2


def test_a_terminal_that_goes_ends_it_well(tmp_path: Path) -> None:
    """SIGHUP, as the kernel sends it when a terminal is closed (termios(3)): as SIGTERM."""
    above, below = os.openpty()
    server = subprocess.Popen(
        [sys.executable, "-c", _IN_A_SESSION, *_command(tmp_path)],
        stdin=below,
        stdout=below,
        stderr=below,
        env=_environ(),
    )
    os.close(below)
    shown = b""
    while b"/capture" not in shown:
        shown += os.read(above, 4096)
    with socket.create_connection(("127.0.0.1", _port(shown.decode())), timeout=60) as connection:
        request = posted(_LOST.read_bytes())
        connection.sendall(request[:-1000])
        while not any(tmp_path.iterdir()):
            time.sleep(0.02)
        os.close(above)
        connection.sendall(request[-1000:])
        assert b" 201 " in connection.makefile("rb").read()
    assert server.wait(60) == 0
    assert [load(str(path)) for path in tmp_path.iterdir()] == [load(str(_LOST))]


_IN_A_SESSION = """
import fcntl, os, sys, termios
os.setsid()
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
os.execv(sys.argv[1], sys.argv[1:])
"""


def _worked_on(path: Path, kind: str, folder: Path) -> tuple[dict[str, object], str]:
    """What the process that keeps a body answers, and all that it says on the bench's terminal."""
    from usbwatch.cli.listening import worker_command

    request = {"path": str(path), "kind": kind, "folder": str(folder), "profile": None, "full": False, "as_json": True}
    told = json.dumps({**request, "width": 80, "colours": False, "ascii_only": True})
    done = subprocess.run(worker_command(), input=f"{told}\n", capture_output=True, text=True, check=True)
    return json.loads(done.stdout.splitlines()[0]), done.stderr


@pytest.mark.parametrize(("gone", "kind"), [("folder", "capture"), ("body", "capture"), ("body", "archive")])
def test_a_folder_or_a_body_that_goes_is_one_sentence(tmp_path: Path, gone: str, kind: str) -> None:
    """RFC 4918 section 11.5: 507 (Insufficient Storage)."""
    body = tmp_path / "body"
    if gone == "folder":
        body.write_bytes(_LOST.read_bytes())
    answer, said = _worked_on(body, kind, tmp_path / "nowhere" if gone == "folder" else tmp_path)
    assert answer == {"refused": "the bench cannot keep it: No such file or directory", "status": 507}
    assert said == ""
