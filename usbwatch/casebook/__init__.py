"""Units, what was recorded of them, and the captures and files that belong to it: SQLite or PostgreSQL."""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.casebook.book import Book, When, paper_of
    from usbwatch.casebook.finding import Found
    from usbwatch.casebook.opening import default_address, open_book
    from usbwatch.casebook.packing import Paper
    from usbwatch.casebook.story import RecordedLook, Standing, Story, looks, steps_since, story
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "Book": "book",
            "Found": "finding",
            "Paper": "packing",
            "RecordedLook": "story",
            "Standing": "story",
            "Story": "story",
            "When": "book",
            "default_address": "opening",
            "looks": "story",
            "open_book": "opening",
            "paper_of": "book",
            "steps_since": "story",
            "story": "story",
        },
    )

__all__ = [
    "Book",
    "Found",
    "Paper",
    "RecordedLook",
    "Standing",
    "Story",
    "When",
    "default_address",
    "looks",
    "open_book",
    "paper_of",
    "steps_since",
    "story",
]
