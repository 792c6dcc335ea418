"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from usbwatch.capture.naming import default_name, slug

__all__ = ["default_name", "report_name", "write_bytes", "write_file", "writing_file"]

_REMEDY = "choose another name with -o, or give --force to overwrite it"


def report_name(title: str, made_at: str, form: str) -> str:
    """A file name from model and time: ``fernhill-larch-13-2026-11-24-140500.html``; nothing in it names the unit."""
    moment = re.sub(r"[^0-9-]", "", made_at.replace("T", "-"))
    return f"{slug(title)}-report-{moment}.{_ENDINGS.get(form, form)}"


_ENDINGS = {"text": "txt"}


def write_file(path: str, text: str, *, force: bool = False, remedy: str = _REMEDY) -> None:
    """``write_bytes`` of a text, in UTF-8."""
    write_bytes(path, text.encode("utf-8"), force=force, remedy=remedy)


def write_bytes(path: str, content: bytes, *, force: bool = False, remedy: str = _REMEDY) -> None:
    """Write ``content`` to ``path`` in one step: a reader sees the old file or the new one, never half of it.

    Raises ``UnwritableOutput`` when that cannot be, or when a file is there and
    ``force`` is not given, with ``remedy`` for what to do; what was there
    before is then untouched.
    """
    with writing_file(path, force=force, remedy=remedy) as file:
        file.write(content)


@contextlib.contextmanager
def writing_file(path: str, *, force: bool = False, remedy: str = _REMEDY) -> Iterator[BinaryIO]:
    """The same for what is written piece by piece: a file beside the other one, which takes its place at the end.

    Where the block raises, nothing is written.
    """
    from usbwatch.errors import UnwritableOutput

    try:
        target = Path(path).resolve()
        if target.exists() and not target.is_file():
            raise UnwritableOutput(path, "is there and is no regular file", "choose another name")
        if target.exists() and not force:
            raise FileExistsError  # noqa: TRY301 - the same answer as when the file appears a moment later
        with _beside(target, force=force) as file:
            yield file
    except FileExistsError:
        raise UnwritableOutput(path, "is there already", remedy) from None
    except (OSError, ValueError, RuntimeError) as error:  # ValueError: a NUL; RuntimeError: a loop of links
        reason = getattr(error, "strerror", None) or str(error)
        elsewhere = "choose another place with -o" if remedy == _REMEDY else remedy
        raise UnwritableOutput(path, f"cannot be written ({reason})", elsewhere) from error


@contextlib.contextmanager
def _beside(target: Path, *, force: bool) -> Iterator[BinaryIO]:
    from usbwatch.capture.opening import NO_TRANSLATION

    draft = target.with_name(f".{secrets.token_hex(8)}.part")
    try:
        with os.fdopen(os.open(draft, os.O_RDWR | os.O_CREAT | os.O_EXCL | NO_TRANSLATION, 0o666), "w+b") as file:
            yield file
            file.flush()
            _keep_mode(target, file.fileno())
            os.fsync(file.fileno())
        if force:
            draft.replace(target)
        else:
            _move_without_overwriting(draft, target)
    finally:
        draft.unlink(missing_ok=True)
    _sync_folder(target.parent)


def _keep_mode(target: Path, handle: int) -> None:
    """What takes the place of a file has its rights; a system without such rights goes on."""
    with contextlib.suppress(OSError, AttributeError):
        os.fchmod(handle, stat.S_IMODE(target.stat().st_mode))


def _move_without_overwriting(draft: Path, target: Path) -> None:
    """Give the draft its name unless that is taken; a file system without hard links gets the next best."""
    try:
        target.hardlink_to(draft)
    except FileExistsError:
        raise
    except OSError:
        if os.path.lexists(target):
            raise FileExistsError from None
        draft.rename(target)


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every file system lets a folder be synced
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
