"""The digest written into the text of a profile file, which otherwise stays as it is: comments, order, line ends."""

from __future__ import annotations

import tomllib

from usbwatch.profile.digest import digest
from usbwatch.profile.lines import Lines
from usbwatch.profile.plain import plain

__all__ = ["digest_of", "sealed"]


def digest_of(text: str) -> str:
    """The digest of what a sound profile file says, whatever digest it has itself."""
    document, _ = plain(tomllib.loads(text.removeprefix("\ufeff")))
    return digest(document)


def sealed(text: str) -> str:
    """The text of a sound profile file with the digest of what it says, in place of the one it has if it has one."""
    import tomlkit

    text = text.removeprefix("\ufeff")
    now = digest_of(text)
    document = tomlkit.parse(text)
    if document.get("digest") == now:
        return text
    if "digest" in document:
        document["digest"] = now
        return document.as_string()
    lines = text.split("\n")
    at = Lines(text).of(("id",))
    end = "\r" if lines[at - 1].endswith("\r") else ""
    candidate = "\n".join([*lines[:at], f'digest = "{now}"{end}', *lines[at:]])
    if _says(candidate, now):
        return candidate
    document.add("digest", tomlkit.item(now))  # the id is written over several lines
    return document.as_string()


def _says(text: str, now: str) -> bool:
    """Whether a text is TOML, has this digest, and that is right."""
    try:
        return tomllib.loads(text).get("digest") == now == digest_of(text)
    except ValueError:
        return False
