"""What collects a capture on a unit that has nothing installed: one Python file, a shell script, a page to read.

``kit_files()`` makes them. ``collecting`` and what it imports is the
Python file itself: it needs the standard library alone, of Python 3.8 or later.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.kit.building import KitFile, is_earlier, is_note_of_kit, kit_files
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "KitFile": "building",
            "is_earlier": "building",
            "is_note_of_kit": "building",
            "kit_files": "building",
        },
    )

__all__ = ["KitFile", "is_earlier", "is_note_of_kit", "kit_files"]
