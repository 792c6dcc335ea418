"""A casebook that runs out of room, in a process of its own: ``python -m support.filling HOW FOLDER``.

``limit``: the system refuses to let a file grow (RLIMIT_FSIZE). ``disk``: FOLDER is a disk of its own, and a ballast
in it takes the room. What happened is printed as JSON: what was acknowledged before and after, and what was said.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
from pathlib import Path

from usbwatch.casebook import Book, Paper, When, open_book
from usbwatch.casebook.packing import digest_text
from usbwatch.errors import BadBook
from usbwatch.model.history import Attached, Opened

__all__ = ["NOW", "attached", "until_refused"]

NOW = When(now="2026-03-02T09:00:00Z")
_AT_MOST = 1000


def attached(book: Book, label: str) -> str:
    """Record an invented photo of 20 kB that nothing compresses; the id of the entry that the book acknowledged."""
    photo = Paper(kind="file", content=os.urandom(20_000))
    fact = Attached(file=digest_text(photo.raw_digest), name="photo.jpg", size=len(photo.content))
    return book.record(book.unit(label), [fact], NOW, [photo])[0].id


def until_refused(book: Book, label: str) -> tuple[list[str], str]:
    """What was acknowledged, and the sentence that ended it."""
    told: list[str] = []
    for _ in range(_AT_MOST):
        try:
            told.append(attached(book, label))
        except BadBook as error:
            return told, str(error)
    raise AssertionError("there was room for all of it")


def _refusal(address: str) -> str:
    try:
        open_book(address).close()
    except BadBook as error:
        return str(error)
    return ""


def _under_a_limit(folder: Path) -> dict[str, object]:
    import resource

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    book = open_book(str(folder / "book.sqlite"))
    first = book.open_unit(Opened(label="LB-0001"), NOW)[1][0].id
    resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, resource.RLIM_INFINITY))
    before, said = until_refused(book, "LB-0001")
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    after = [attached(book, "LB-0001")]
    book.close()
    return {"before": [first, *before], "said": said, "after": after}


def _on_a_full_disk(folder: Path) -> dict[str, object]:
    """The same on a disk, with the book closed and opened while it is full: the log cannot be moved into the file."""
    address, ballast, old = str(folder / "book.sqlite"), folder / "ballast", folder / "old.sqlite"
    old.write_bytes((Path(__file__).parents[1] / "data" / "casebooks" / "schema-1.sqlite").read_bytes())
    ballast.write_bytes(bytes(2 * 1024 * 1024))
    book = open_book(address)
    first = book.open_unit(Opened(label="LB-0001"), NOW)[1][0].id
    before, said = until_refused(book, "LB-0001")
    _filled_up(ballast)
    migrating, making = _refusal(str(old)), _refusal(str(folder / "another.sqlite"))
    left = sorted(path.name for path in folder.iterdir())
    while_full = until_refused(book, "LB-0001")
    book.close()
    ballast.unlink()
    book = open_book(address)
    after = [attached(book, "LB-0001")]
    book.close()
    there = len(open_book(str(old)).units())
    return {
        "before": [first, *before, *while_full[0]],
        "said": said,
        "after": after,
        "while_full": while_full[1],
        "migrating": migrating,
        "making": making,
        "left": left,
        "units_of_the_old": there,
    }


def _filled_up(path: Path) -> None:
    with path.open("ab", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(bytes(4096)):
            pass


if __name__ == "__main__":
    sys.stdout.write(json.dumps({"limit": _under_a_limit, "disk": _on_a_full_disk}[sys.argv[1]](Path(sys.argv[2]))))
