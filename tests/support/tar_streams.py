"""Tar archives of a unit's tree made by hand: good ones, and such as no archiver writes."""

from __future__ import annotations

import io
import tarfile

__all__ = ["END", "GOOD", "PLAIN", "header", "member", "tar_of"]


def member(name: str, content: bytes = b"", **facts: object) -> tuple[tarfile.TarInfo, bytes]:
    """One entry and its content; ``facts`` are fields of ``tarfile.TarInfo``."""
    entry = tarfile.TarInfo(name)
    entry.size = len(content)
    for key, value in facts.items():
        setattr(entry, key, value)
    return entry, content


GOOD = (member("sys/bus/usb", type=tarfile.DIRTYPE), member("sys/value", b"right\n"))


def tar_of(*members: tuple[tarfile.TarInfo, bytes], form: int = tarfile.GNU_FORMAT) -> bytes:
    """A whole archive, as the standard library writes it."""
    file = io.BytesIO()
    with tarfile.open(fileobj=file, mode="w", format=form) as archive:
        for entry, content in members:
            archive.addfile(entry, io.BytesIO(content))
    return file.getvalue()


def _with_sum(made: bytearray) -> bytes:
    made[148:156] = b" " * 8
    made[148:156] = b"%06o\0 " % sum(made)
    return bytes(made)


def header(name: bytes, flag: bytes, size: bytes) -> bytes:
    """A header by hand (POSIX.1-1988, ustar), so that its fields can say what no archiver writes."""
    made = bytearray(512)
    made[: len(name)] = name
    made[124 : 124 + len(size)] = size
    made[156:157] = flag
    made[257:265] = b"ustar\00000"
    return _with_sum(made)


PLAIN = tar_of(*GOOD)
END = bytes(1024)
