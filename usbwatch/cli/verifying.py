"""``usbwatch report --verify``: whether a report is as it was made, and about the captures given."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from usbwatch.cli import exits

if TYPE_CHECKING:
    from usbwatch.show.report.verifying import Verified

__all__ = ["verify"]

_LARGEST = 64 * 1024 * 1024

_NO_SIGNATURE = (
    "A digest is no signature: whoever alters a report can seal it again. To be sure, compare the seal with the one "
    "that the maker of the report tells you by another way."
)


def verify(report: str, captures: Sequence[str]) -> int:
    """Say what the seal of a report and the digests of captures tell; the exit code.

    Raises ``BadReport`` and ``BadCapture`` for files that are none.
    """
    from usbwatch.cli.screen import page_width, write
    from usbwatch.show import line, plain
    from usbwatch.show.report.verifying import verified

    its = verified(_content(report), report)
    told = [_of_report(report, its), *(_of_capture(one, its) for one in captures)]
    sentences = [*(sentence for sentence, _ in told), _NO_SIGNATURE]
    write(plain([line(sentence, hang=2) for sentence in sentences], page_width()))
    return exits.WELL if all(well for _, well in told) else exits.CHANGED


def _of_report(path: str, its: Verified) -> tuple[str, bool]:
    from usbwatch.profile import shown_path

    if its.holds:
        return f"{shown_path(path)} is unaltered since it was sealed, with {its.seal}.", True
    hint = f": {its.hint}" if its.hint else ""
    return f"{shown_path(path)} is NOT as it was made{hint}.", False


def _of_capture(path: str, its: Verified) -> tuple[str, bool]:
    from usbwatch.capture.saved import load_saved
    from usbwatch.errors import AlteredCapture
    from usbwatch.profile import shown_path

    name = shown_path(path)
    try:
        digest = load_saved(path).digest
    except AlteredCapture:
        return f"{name} has been altered since it was captured: it proves nothing of this report.", False
    if digest in its.captures:
        return f"{name} is unaltered since it was captured, and the report names it as one that it rests on.", True
    return f"{name} does NOT belong to this report, which rests on other captures.", False


def _content(path: str) -> bytes:
    """The bytes of a report. Raises ``BadReport`` for what cannot be one, before any of it is read."""
    from usbwatch.capture.opening import READ_ONLY
    from usbwatch.errors import BadReport

    try:
        handle = os.open(path, READ_ONLY)
    except OSError as error:
        raise BadReport(path, f"cannot be opened ({error.strerror})", "check the name and its permissions") from None
    except ValueError:
        raise BadReport(path, "has a name that no file can have") from None
    try:
        for problem in _problems(os.fstat(handle)):
            raise BadReport(path, problem, "give the file of a report")
        return b"".join(iter(lambda: os.read(handle, _LARGEST), b""))
    except OSError as error:
        raise BadReport(path, f"cannot be read ({error.strerror})", "copy it again") from None
    finally:
        os.close(handle)


def _problems(status: os.stat_result) -> Iterator[str]:
    if stat.S_ISDIR(status.st_mode):
        yield "is a folder"
    elif not stat.S_ISREG(status.st_mode):
        yield "is no regular file"
    elif status.st_size > _LARGEST:
        yield f"is larger than {_LARGEST // 1024**2} MiB"
