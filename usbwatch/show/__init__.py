"""Values in, strings out: the pages and JSON documents that usbwatch shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.show.as_json import (
        changes_document,
        check_document,
        localise_document,
        profile_document,
        profiles_document,
    )
    from usbwatch.show.capture_view import capture_view
    from usbwatch.show.check_view import check_view
    from usbwatch.show.checked import Checked
    from usbwatch.show.diff_view import diff_view
    from usbwatch.show.json_values import json_text
    from usbwatch.show.lines import BLANK, Line, Span, Style, line
    from usbwatch.show.localise_view import localise_view
    from usbwatch.show.localised import Localised, Seen, Supposed
    from usbwatch.show.profile_view import profile_list_view, profile_page, profile_view
    from usbwatch.show.safe import plain_ascii, safe
    from usbwatch.show.since_view import since_view
    from usbwatch.show.verdict import Outcome, outcome, sentence
    from usbwatch.show.writers import coloured, plain
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "BLANK": "lines",
            "Checked": "checked",
            "Line": "lines",
            "Localised": "localised",
            "Outcome": "verdict",
            "Seen": "localised",
            "Span": "lines",
            "Style": "lines",
            "Supposed": "localised",
            "capture_view": "capture_view",
            "changes_document": "as_json",
            "check_document": "as_json",
            "check_view": "check_view",
            "coloured": "writers",
            "diff_view": "diff_view",
            "json_text": "json_values",
            "line": "lines",
            "localise_document": "as_json",
            "localise_view": "localise_view",
            "outcome": "verdict",
            "plain": "writers",
            "plain_ascii": "safe",
            "profile_document": "as_json",
            "profile_list_view": "profile_view",
            "profile_page": "profile_view",
            "profile_view": "profile_view",
            "profiles_document": "as_json",
            "safe": "safe",
            "sentence": "verdict",
            "since_view": "since_view",
        },
    )

__all__ = [
    "BLANK",
    "Checked",
    "Line",
    "Localised",
    "Outcome",
    "Seen",
    "Span",
    "Style",
    "Supposed",
    "capture_view",
    "changes_document",
    "check_document",
    "check_view",
    "coloured",
    "diff_view",
    "json_text",
    "line",
    "localise_document",
    "localise_view",
    "outcome",
    "plain",
    "plain_ascii",
    "profile_document",
    "profile_list_view",
    "profile_page",
    "profile_view",
    "profiles_document",
    "safe",
    "sentence",
    "since_view",
]
