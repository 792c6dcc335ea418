"""A model's documents: reading and checking them, finding them, and choosing the one that fits a unit."""

from usbwatch.profile.choosing import fits, fitting, variant_of
from usbwatch.profile.exporting import to_dict
from usbwatch.profile.library import Library, find, known, library, shipped
from usbwatch.profile.notes import notes
from usbwatch.profile.reading import load, parse
from usbwatch.profile.schema import document_schema, schema_text

__all__ = [
    "Library",
    "document_schema",
    "find",
    "fits",
    "fitting",
    "known",
    "library",
    "load",
    "notes",
    "parse",
    "schema_text",
    "shipped",
    "to_dict",
    "variant_of",
]
