"""No search for reference cycles while a capture is taken.

A capture makes thousands of values and no cycle among them: each of Python's
searches for one would find nothing, and go through all that the program holds.
"""

from __future__ import annotations

import gc
from contextlib import contextmanager
from typing import Iterator

__all__ = ["unsearched"]


@contextmanager
def unsearched() -> Iterator[None]:
    """Nothing is searched for cycles meanwhile; afterwards it is as it was before."""
    searching = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searching:
            gc.enable()
