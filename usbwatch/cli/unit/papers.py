"""Files that belong to a unit, on their way into the book and out of it."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from usbwatch.casebook import Paper
from usbwatch.errors import Refused
from usbwatch.model.history import Attached

__all__ = ["attached"]

_LONGEST_NAME = 200


def attached(path: str) -> tuple[Attached, Paper]:
    """A file as a fact and as the document that goes with it. Raises ``Refused`` for what cannot be attached."""
    from usbwatch.capture.opening import READ_ONLY
    from usbwatch.casebook.packing import LARGEST_DOCUMENT, digest_text

    try:
        with os.fdopen(os.open(path, READ_ONLY), "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise Refused(f"{path} is no regular file", "attach a file")
            content = file.read(LARGEST_DOCUMENT + 1)
    except OSError as error:
        raise Refused(f"{path} cannot be read ({error.strerror})", "check its name") from None
    except ValueError:
        raise Refused("a file has a name that no file can have", "check its name") from None
    if len(content) > LARGEST_DOCUMENT:
        raise Refused(f"{path} is larger than {LARGEST_DOCUMENT // 1024**2} MiB", "keep it elsewhere, and note where")
    paper = Paper(kind="file", content=content)
    name = os.fsencode(Path(path).name).decode("utf-8", "backslashreplace")[:_LONGEST_NAME]
    return Attached(file=digest_text(paper.raw_digest), name=name, size=len(content)), paper
