"""The manifest read back: checked to the last byte."""

from __future__ import annotations

import re
from typing import Any

from usbwatch.casebook.exchange.archive import EXPORT_AGAIN, FORMAT, MANIFEST, MOST_PARTS, SCHEMA, Manifest
from usbwatch.errors import BadArchive

__all__ = ["manifest_of"]

_DIGEST = re.compile(r"sha256:[0-9a-f]{64}\Z")


def manifest_of(body: bytes, path: str) -> Manifest:
    """The manifest that ``body`` holds; ``path`` is for the sentence of a ``BadArchive``."""
    import msgspec

    try:
        plain = msgspec.json.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        raise BadArchive(path, f"has a {MANIFEST} that is no JSON document", EXPORT_AGAIN) from None
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise BadArchive(path, f'has a {MANIFEST} whose "format" is not "{FORMAT}"', EXPORT_AGAIN)
    _check_schema(plain, path)
    try:
        values = {key: value for key, value in plain.items() if key not in ("format", "schema")}
        manifest = msgspec.convert(values, Manifest, strict=True)
        proper = manifest.body == body and _is_proper(manifest)
    except (msgspec.ValidationError, RecursionError, ValueError):
        proper = False
    if not proper:
        raise BadArchive(path, f"has a {MANIFEST} that does not have the shape of one", EXPORT_AGAIN)
    return manifest


def _check_schema(plain: dict[str, Any], path: str) -> None:
    schema = plain.get("schema")
    if type(schema) is not int or schema < 1:
        raise BadArchive(path, f'has a {MANIFEST} without a "schema" number', EXPORT_AGAIN)
    if schema > SCHEMA:
        problem = f"is written in schema {schema}, and this usbwatch reads schemas up to {SCHEMA}"
        raise BadArchive(path, problem, "use a newer usbwatch")


def _is_proper(manifest: Manifest) -> bool:
    counts = (manifest.units, manifest.entries, manifest.documents, manifest.size)
    return min(counts) >= 0 and manifest.parts <= MOST_PARTS and bool(_DIGEST.match(manifest.digest))
