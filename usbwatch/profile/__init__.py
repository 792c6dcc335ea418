"""A model's documents: reading and checking them, finding them, and choosing the one that fits a unit."""

from usbwatch.profile.choosing import fits, fitting, variant_of
from usbwatch.profile.digest import short
from usbwatch.profile.exporting import to_dict
from usbwatch.profile.faults import shown_path
from usbwatch.profile.installing import Installed, Outcome, files_in, install
from usbwatch.profile.library import Library, find, known, library, shipped
from usbwatch.profile.notes import notes
from usbwatch.profile.reading import load, parse, text_in
from usbwatch.profile.schema import document_schema, schema_text
from usbwatch.profile.sealing import sealed

__all__ = [
    "Installed",
    "Library",
    "Outcome",
    "document_schema",
    "files_in",
    "find",
    "fits",
    "fitting",
    "install",
    "known",
    "library",
    "load",
    "notes",
    "parse",
    "schema_text",
    "sealed",
    "shipped",
    "short",
    "shown_path",
    "text_in",
    "to_dict",
    "variant_of",
]
