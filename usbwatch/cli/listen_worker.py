"""The process that reads, keeps and checks one capture for ``usbwatch listen``.

``python -m usbwatch.cli.listen_worker``: one line of JSON in, two out (see
``usbwatch/listen/work.py``). What was posted is a stranger's, so this process
has a bound on its memory, and the server ends it when it takes too long.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.show import Checked

__all__ = ["main"]

_MOST_MEMORY = 2 * 1024**3
_HEAD = 512 * 1024
"""Bytes at the beginning of a capture file in which its digest stands, after the coverage."""
_DIGEST = re.compile(rb'^ "digest": "(sha256:[0-9a-f]{64})"', re.MULTILINE)
_MOST_NAMES = 10_000
_POSTED = "that was posted"


def main() -> int:
    """Do what standard input says, and answer on standard output; says nothing anywhere else."""
    line = sys.stdin.readline()
    if not line:
        return 0  # The server has gone.
    request = json.loads(line)
    answers = os.dup(sys.stdout.fileno())
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # Nothing else gets between the answers.
    _bound_memory()
    with contextlib.suppress(BrokenPipeError):  # the server has gone: what is kept is kept
        saved, answer = _tried(request)
        _say(answers, answer)
        if saved is not None:
            _say(answers, _judged(saved, str(answer["file"]), request))
    return 0


def _say(answers: int, answer: dict[str, Any]) -> None:
    left = json.dumps(answer).encode() + b"\n"
    while left:
        left = left[os.write(answers, left) :]


def _bound_memory() -> None:
    """Where the system can: a capture that needs more ends in a ``MemoryError``."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))


def _tried(request: dict[str, Any]) -> tuple[Saved | None, dict[str, Any]]:
    from usbwatch.errors import UnwritableOutput, UsbwatchError

    try:
        saved = _read(Path(request["path"]), request["kind"])
        name, already = _published(saved, Path(request["folder"]))
    except UnwritableOutput as error:
        return None, {"refused": f"the bench cannot keep it: {error.problem}", "status": 507}
    except UsbwatchError as error:
        return None, {"refused": str(error), "status": 422}
    except MemoryError:
        return None, {"refused": "it needs more memory than any capture; not kept", "status": 422}
    except OSError as error:
        return None, {"refused": f"the bench cannot keep it: {error.strerror or error}", "status": 507}
    except Exception as error:  # noqa: BLE001 - a bug of ours is one sentence for the sender, and no more
        return None, {"refused": f"{_bug(error)}; not kept", "status": 500}
    return saved, {"file": name, "digest": saved.digest, "already": already}


def _bug(error: Exception) -> str:
    """What our own mistake is called; ``USBWATCH_DEBUG`` shows where it came from."""
    if os.environ.get("USBWATCH_DEBUG", "") not in ("", "0"):
        import traceback

        traceback.print_exception(error)
    return f"this is a bug in usbwatch itself: {type(error).__name__}"


def _read(path: Path, kind: str) -> Saved:
    from usbwatch.capture import ArchiveTree, copied_log, take
    from usbwatch.capture.origin import origin
    from usbwatch.capture.saved import parse_saved, saved_of

    if kind == "capture":
        return parse_saved(path.read_bytes(), _POSTED)
    path.stat()  # That it has gone is no fault of the archive.
    tree = ArchiveTree(str(path), _POSTED)
    came = origin(tree)
    return saved_of(take(tree, taken_at=came.taken_at, log=copied_log(tree), privileged=came.privileged))


# --- Keeping ----------------------------------------------------------------------------------


def _published(saved: Saved, folder: Path) -> tuple[str, bool]:
    """The name under which it is in the folder, and whether the same was there before. Raises ``UnwritableOutput``."""
    from usbwatch.capture.naming import default_name
    from usbwatch.cli.writing import write_file

    with _alone(folder):
        there = _same(folder, saved.digest)
        if there:
            return there, True
        name = _free(folder, default_name(saved.capture.unit, datetime.now().astimezone()))
        write_file(str(folder / name), saved.text)
        return name, False


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """No other of these processes looks through the folder meanwhile, so that one capture is kept once."""
    try:
        import fcntl
    except ImportError:  # Windows: two that come at the same moment are both kept
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # a file system without locks: as on Windows
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _free(folder: Path, name: str) -> str:
    """The name, or with the first number after it that is not taken."""
    stem = name.removesuffix(".json")
    names = (f"{stem}{f'-{number}' if number > 1 else ''}.json" for number in range(1, _MOST_NAMES))
    return next((one for one in names if not os.path.lexists(folder / one)), name)


def _same(folder: Path, digest: str) -> str:
    """The name of a file that holds the same capture, "" when none does."""
    for path in sorted(folder.glob("*.json"))[:_MOST_NAMES]:
        if _claimed(path) == digest.encode() and _holds(path, digest):
            return path.name
    return ""


def _claimed(path: Path) -> bytes:
    from usbwatch.capture.opening import READ_ONLY

    try:
        with os.fdopen(os.open(path, READ_ONLY), "rb") as file:
            found = _DIGEST.search(file.read(_HEAD))
    except OSError:
        return b""
    return found.group(1) if found else b""


def _holds(path: Path, digest: str) -> bool:
    from usbwatch.capture.saved import load_saved
    from usbwatch.errors import UsbwatchError

    with contextlib.suppress(UsbwatchError):
        return load_saved(str(path)).digest == digest
    return False


# --- Checking -----------------------------------------------------------------------------------


def _judged(saved: Saved, name: str, request: dict[str, Any]) -> dict[str, Any]:
    from usbwatch.errors import UsbwatchError

    try:
        return _told(_checked(saved, request), name, request)
    except UsbwatchError as error:
        return {"problem": str(error)}
    except MemoryError:
        return {"problem": "its check needs more memory than there is"}
    except Exception as error:  # noqa: BLE001 - the same
        return {"problem": _bug(error)}


def _checked(saved: Saved, request: dict[str, Any]) -> Checked:
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.one_check import checked
    from usbwatch.cli.unit.experience import shop_experience

    profile = chosen(saved.capture, request["profile"], may_ask=False)
    experience = shop_experience(profile, None)
    return checked(saved.capture, profile, insisted=request["profile"] is not None, experience=experience)


def _told(checked: Checked, name: str, request: dict[str, Any]) -> dict[str, Any]:
    from usbwatch.cli.taking import local_time
    from usbwatch.show import check_document, coloured, outcome, plain, sentence
    from usbwatch.show.listen_view import arrival_view

    width = request["width"]
    when = local_time(checked.capture.taken_at)
    lines = arrival_view(checked, name, datetime.now().astimezone(), when, width, full=request["full"])
    return {
        "text": (coloured if request["colours"] else plain)(lines, width, ascii_only=request["ascii_only"]),
        "outcome": outcome(checked.findings).value,
        "verdict": sentence(checked.findings),
        "product_name": checked.capture.unit.product_name,
        "product_serial": checked.capture.unit.product_serial,
        **({"check": check_document(checked)} if request["full"] and request["as_json"] else {}),
    }


if __name__ == "__main__":
    sys.exit(main())
