"""What is secret by its form or by the words before it, wherever it stands in a text.

Forms: hardware addresses of IEEE 802 (EUI-48, EUI-64), UUIDs (RFC 9562), mail
addresses (RFC 5321, in short), IP addresses (RFC 791, RFC 4291). Words: those
of the kernel's USB strings (drivers/usb/core/hub.c), of syslog (RFC 3164), of
kernel parameters and of the links that udev makes. Section numbers and words
are from memory; the rest is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

from usbwatch.compare.serials import is_serial
from usbwatch.show.report.secret_fields import secret_of
from usbwatch.show.report.tokens import Secret, SecretKind, is_token

__all__ = ["Spot", "spots"]


class Spot(NamedTuple):
    """Where in a text a secret stands."""

    start: int
    end: int
    secret: Secret


class _Shape(NamedTuple):
    kind: SecretKind
    hints: tuple[str, ...]
    """One of these is in the text in lower case, or the shape is not looked for."""
    pattern: re.Pattern[str]
    """The secret is the group ``x``."""
    believable: Callable[[re.Match[str]], bool]
    """Whether what has the shape is what it seems."""


_NOBODY = frozenset({"root", "nobody", "daemon", "user", "users", "public", "shared", "tty", "name", "not", "unknown"})
"""Names that are of no person."""

_A_VERSION = re.compile(r"\b(?:version|ver|firmware|fw|bios|driver|rev|release|ports?|v)\W{0,3}\Z", re.IGNORECASE)
_AN_ADDRESS = re.compile(r"\b(?:ip|addr|address|inet|from|to|via|src|dst|server|gateway|host)\W{0,3}\Z", re.IGNORECASE)
_LONGEST_BEFORE = 16
_SMALLEST_OCTET = 10
"""A first octet below this is taken for a version or for USB ports unless a word before it says otherwise."""
_SURE, _LIKELY = 4, 6
"""Letters and digits of what follows the word serial: behind a colon, and without one."""


def _always(_found: re.Match[str]) -> bool:
    return True


def _varied(found: re.Match[str]) -> bool:
    return len(set(re.sub(r"[^0-9a-f]", "", found["x"].lower()))) > 1


def _somebody(found: re.Match[str]) -> bool:
    return found["x"].lower() not in _NOBODY and not found["x"].isdecimal()


def _no_unit_address(found: re.Match[str]) -> bool:
    """Whether ``a@b`` is somebody at a host: no node of a device tree (i2c@fe804000), no instance of a service."""
    return _somebody(found) and re.fullmatch(r"[0-9a-f,]+|tty\w*|.*\.(?:service|socket|slice)", found["h"]) is None


def _ip4(found: re.Match[str]) -> bool:
    octets = [int(one) for one in found["x"].split(".")]
    before = found.string[max(0, found.start() - _LONGEST_BEFORE) : found.start()]
    if max(octets) > 255 or _A_VERSION.search(before):  # noqa: PLR2004 - one byte
        return False
    return octets[0] >= _SMALLEST_OCTET or _AN_ADDRESS.search(before) is not None


def _ip6(found: re.Match[str]) -> bool:
    import ipaddress

    try:
        its = ipaddress.IPv6Address(found["x"])
    except ValueError:
        return False
    return not (its.is_loopback or its.is_unspecified)


def _serial(found: re.Match[str]) -> bool:
    text = found["x"]
    signs = sum(letter.isalnum() for letter in text)
    enough = signs >= (_SURE if found["sure"] else _LIKELY)
    return enough and any(letter.isdigit() for letter in text) and secret_of(SecretKind.SERIAL, text) is not None


def _usb_serial(found: re.Match[str]) -> bool:
    return secret_of(SecretKind.SERIAL, found["x"]) is not None


def _id(found: re.Match[str]) -> bool:
    return is_serial(found["x"])


_Believable = Callable[[re.Match[str]], bool]


def _shape(kind: SecretKind, hints: str, pattern: str, believable: _Believable = _always) -> _Shape:
    return _Shape(kind, tuple(hints.split()), re.compile(pattern, re.IGNORECASE), believable)


_PAIR = r"[0-9a-f]{2}"
_NAME = r"['\"“<(]?(?P<x>[^\s'\"“”<>()\[\],;:=/\\|]{1,64})"
_TITLE = r"(?:(?P<q>['\"“])(?P<x>[^'\"”]{1,64})|(?P<y>[^\s'\"“,;]{1,64}))"
"""With spaces where it is quoted."""

_WHO = r"(?<![\w.@-])(?P<x>[a-z_][\w-]{0,31})"
_AT = r"(?<![\w.@-])[a-z_][\w-]{0,31}@"

_SHAPES = (
    _shape(SecretKind.MAIL, "@", r"(?P<x>[\w.+%-]{1,64}@(?:[\w-]{1,63}\.)+(?!service|socket|slice)[a-z]{2,24})\b"),
    _shape(SecretKind.UUID, "-", r"(?<![\w-])(?P<x>[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12})(?![\w-])"),
    _shape(SecretKind.UUID, "machine", r"\bmachine[- _]id\W{1,4}(?P<x>[0-9a-f]{32})\b"),
    _shape(SecretKind.UUID, "uuid", r"(?:uuid=|/by-(?:part)?uuid/)['\"]?(?P<x>[0-9a-f-]{4,36})(?![\w-])", _id),
    _shape(SecretKind.ADDRESS, ": -", rf"(?<![\w:-])(?P<x>{_PAIR}([:-])(?:{_PAIR}\2){{4}}{_PAIR})(?![\w:-])", _varied),
    _shape(SecretKind.ADDRESS, ": -", rf"(?<![\w:-])(?P<x>{_PAIR}([:-])(?:{_PAIR}\2){{6}}{_PAIR})(?![\w:-])", _varied),
    _shape(SecretKind.ADDRESS, "enx wlx wwx", r"\b(?:en|wl|ww)x(?P<x>[0-9a-f]{12})\b", _varied),
    _shape(SecretKind.ADDRESS, "::", r"(?<![\w:.])(?P<x>[0-9a-f:]{2,39}(?:\.\d{1,3}){0,3})(?![\w:])", _ip6),
    _shape(SecretKind.ADDRESS, ":", r"(?<![\w:.])(?P<x>(?:[0-9a-f]{1,4}:){7}[0-9a-f]{1,4})(?![\w:])", _ip6),
    _shape(SecretKind.ADDRESS, ".", r"(?<![\w./:-])(?P<x>\d{1,3}(?:\.\d{1,3}){3})(?![\w-]|\.\d)", _ip4),
    _shape(SecretKind.SERIAL, "serialnumber:", r"\bSerialNumber: (?P<x>\S[^\n]{0,255})", _usb_serial),
    _shape(
        SecretKind.SERIAL,
        "serial s/n asset wwn eui",
        r"(?:\bserial(?:[ _-]?(?:number|num|no\.?))?|\basset[ _]tag|\bwwn|\beui(?:64)?|\bs/n)"
        r"(?:\s{0,4}(?P<sure>[:=#])\s{0,4}|\s{1,4})['\"]?(?P<x>[^\s'\"<>,;()=]{1,64})",
        _serial,
    ),
    _shape(SecretKind.SERIAL, "/by-id/", r"/by-id/(?P<x>[^\s'\"<>,;]{4,200})"),
    _shape(
        SecretKind.HOST,
        ":",
        r"\A(?:<\d{1,4}>)?(?:[a-z]{3} [ \d]\d \d\d:\d\d:\d\d|\d{4}-\d\d-\d\dT[\d:.,+Z-]{8,24}) "
        r"(?P<x>[^\s:\[]{1,64}) [\w.@/-]{1,60}(?:\[\d{1,10}\])?: ",
    ),
    _shape(
        SecretKind.HOST,
        "host",
        rf"\bhost ?name(?: is| set| to){{0,3}}\s{{0,4}}[:=]?\s{{0,4}}(?!is\b|set\b|to\b){_NAME}",
    ),
    _shape(SecretKind.USER, "home users", rf"[/\\](?:home|Users)[/\\]{_NAME}", _somebody),
    _shape(SecretKind.USER, "media/", rf"/media/{_NAME}(?=/)", _somebody),
    _shape(SecretKind.LABEL, "media/", r"/media/[^\s/]{1,64}/(?P<x>[^\s'\"<>,;:/]{1,64})"),
    _shape(SecretKind.USER, "user", rf"\b(?:of|for) user:? {_NAME}", _somebody),
    _shape(SecretKind.USER, "user= logname=", rf"\b(?:[lr]?user|logname)={_NAME}", _somebody),
    _shape(SecretKind.USER, "sudo", rf"\bsudo(?:\[\d{{1,10}}\])?:\s{{1,4}}{_NAME} :", _somebody),
    _shape(SecretKind.USER, "id=", rf"\b[ug]id=\d{{1,10}}\({_NAME}\)", _somebody),
    _shape(SecretKind.USER, "@", rf"{_WHO}@(?P<h>[a-z][\w-]{{0,62}})(?![\w.@-])", _no_unit_address),
    _shape(SecretKind.HOST, "@", rf"{_AT}(?P<x>(?P<h>[a-z][\w-]{{0,62}}))(?![\w.@-])", _no_unit_address),
    _shape(SecretKind.LABEL, "label=", rf"label={_TITLE}"),
    _shape(SecretKind.LABEL, "label/", r"/by-(?:part)?label/(?P<x>[^\s'\"<>,;]{1,64})"),
    _shape(SecretKind.LABEL, "volume", rf"\bvolume (?:label|name)[ :=]{{1,4}}{_TITLE}"),
    _shape(SecretKind.NETWORK, "ssid", rf"\b[eb]?ssid[ :=]{{1,4}}{_TITLE}"),
)


def spots(text: str) -> Iterator[Spot]:
    """Every place of a text that holds a secret by its form or by the words before it; some may overlap."""
    lower = text.lower()
    for kind, hints, pattern, believable in _SHAPES:
        if not any(hint in lower for hint in hints):
            continue
        for found in pattern.finditer(text):
            group = "x" if found["x"] is not None else "y"
            value = found[group]
            if value and not is_token(value) and believable(found):
                yield Spot(*found.span(group), secret_of(kind, value) or Secret(kind, value))
