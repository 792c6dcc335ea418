"""The files of a kit, and whether a file of the same name is one that an earlier kit brought."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files

from usbwatch import __version__
from usbwatch.kit.bundle import bundled
from usbwatch.kit.collecting import POST_TO
from usbwatch.kit.script import script

__all__ = ["KitFile", "is_earlier", "is_note_of_kit", "kit_files"]

_COLLECTOR, _SCRIPT, _PAGE = "capture.py", "capture.sh", "READ-ME.txt"
_MARKS = {_COLLECTOR: b"# The collector of usbwatch ", _SCRIPT: b"# The collector of usbwatch ", _PAGE: b"USBWATCH "}
"""What stands near the beginning of each file, in this version and in those before it."""
_BEGINNING = 300
_ADDRESS_AND_CODE = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class KitFile:
    """One file of a kit."""

    name: str
    content: bytes
    what: str
    """What it is, in a few words."""


def kit_files(post_to: tuple[str, ...] = ()) -> tuple[KitFile, ...]:
    """The files of a kit; ``post_to`` is address and code of a bench computer's ``usbwatch listen``, if any."""
    page = files("usbwatch.kit").joinpath("READ-ME.txt").read_text(encoding="ascii").replace("@VERSION@", __version__)
    made = (
        KitFile(name=_COLLECTOR, content=bundled(_COLLECTOR).encode(), what="the collector, for Python 3.8 or later"),
        KitFile(name=_SCRIPT, content=script().encode("ascii"), what="starts it; without Python gathers by itself"),
        KitFile(name=_PAGE, content=page.replace("\n", "\r\n").encode("ascii"), what="one page for whoever uses it"),
    )
    if not post_to:
        return made
    note = _note(post_to)
    return (*made, KitFile(name=POST_TO, content=note, what="where captures are posted to, and the code for it"))


def _note(words: Iterable[str]) -> bytes:
    return "".join(f"{word}\r\n" for word in words).encode()


def is_note_of_kit(content: bytes) -> bool:
    """Whether ``post-to.txt`` is to the byte as a kit writes it, and not as somebody wrote it at a unit."""
    words = content.decode("utf-8", "replace").split()
    return is_earlier(POST_TO, content) and content == _note(words)


def is_earlier(name: str, content: bytes) -> bool:
    """Whether a file that is called ``name`` came with a kit, so that a newer one may take its place."""
    if name == POST_TO:
        return len(content.split()) in (1, _ADDRESS_AND_CODE)
    return _MARKS[name] in content[:_BEGINNING]
