"""Stored pages, compared letter by letter.

To renew them after a wanted change, run the tests with ``USBWATCH_RENEW_GOLDEN=1``
in the environment, and read what changed before it is kept.
"""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["assert_golden"]


def assert_golden(folder: Path, name: str, text: str) -> None:
    """Fail unless the file ``name`` in ``folder`` holds exactly ``text``; write it instead when renewing."""
    stored = folder / name
    if os.environ.get("USBWATCH_RENEW_GOLDEN"):
        stored.write_text(text, encoding="utf-8")
    assert text == stored.read_text(encoding="utf-8"), f"{name} differs from the stored page"
