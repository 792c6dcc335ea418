"""Values in, strings out: the pages and JSON documents that usbwatch shows."""

from usbwatch.show.as_json import (
    changes_document,
    check_document,
    json_text,
    localise_document,
    profile_document,
    profiles_document,
)
from usbwatch.show.capture_view import capture_view
from usbwatch.show.check_view import check_view
from usbwatch.show.checked import Checked
from usbwatch.show.diff_view import diff_view
from usbwatch.show.lines import BLANK, Line, Span, Style, line
from usbwatch.show.localise_view import localise_view
from usbwatch.show.localised import Localised, Seen, Supposed
from usbwatch.show.outcome import Outcome, outcome, sentence
from usbwatch.show.profile_view import profile_list_view, profile_page, profile_view
from usbwatch.show.safe import plain_ascii, safe
from usbwatch.show.since_view import since_document, since_view
from usbwatch.show.writers import coloured, plain

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
    "since_document",
    "since_view",
]
