"""A model's documents: reading and checking them, finding them, and choosing the one that fits a unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
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
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "Installed": "installing",
            "Library": "library",
            "Outcome": "installing",
            "document_schema": "schema",
            "files_in": "installing",
            "find": "library",
            "fits": "choosing",
            "fitting": "choosing",
            "install": "installing",
            "known": "library",
            "library": "library",
            "load": "reading",
            "notes": "notes",
            "parse": "reading",
            "schema_text": "schema",
            "sealed": "sealing",
            "shipped": "library",
            "short": "digest",
            "shown_path": "faults",
            "text_in": "reading",
            "to_dict": "exporting",
            "variant_of": "choosing",
        },
    )

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
