"""Units, what was recorded of them, and the captures and files that belong to it: SQLite or PostgreSQL."""

from usbwatch.casebook.book import Book, When, paper_of
from usbwatch.casebook.finding import Found
from usbwatch.casebook.opening import default_address, open_book
from usbwatch.casebook.packing import Paper
from usbwatch.casebook.story import RecordedLook, Standing, Story, looks, steps_since, story

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
