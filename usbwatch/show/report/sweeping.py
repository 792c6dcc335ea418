"""Known secrets found again in any text, also written in another way.

How a secret is looked for depends on how likely a chance hit is (bounds: common
practice, no source):

* addresses and UUIDs: their digits with or without separators, either byte order;
* eight letters and digits or more, of both sorts: anywhere, also within a word;
* digits alone, and six or seven signs: not within a longer word or number;
* four or five signs, if they are of both sorts: the same;
* letters alone: from six on, as written or in capitals, for they may be a word of the language;
* what is shorter, and what the profile itself says: in its own field alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice

from usbwatch.show.report.secret_patterns import spots
from usbwatch.show.report.tokens import Secret, SecretKind, Tokens, is_token, key_of

__all__ = ["Sweep"]

_ANYWHERE, _WHOLE, _MIXED = 8, 6, 4
"""Signs (letters and digits) from which a secret is looked for: within words, as a word, as a word of both sorts."""
_SHORTEST_CUT = 4
"""Signs of a secret that was cut short by an ellipsis."""

_LONGEST_SECRET = 256
"""Characters by which a secret is known: a USB string has at most 126 (USB 2.0 section 9.6.7)."""
_LONGEST = 20_000
"""Characters of one text that are kept: no report shows more than a tenth of that."""
_MOST_CUTS = 100

_DIGEST = re.compile(r"sha256:[0-9a-f]{64}\Z")
_OF_HARDWARE = frozenset({12, 16, 32})
"""Hex digits of an EUI-48, of an EUI-64, and of a UUID."""
_UUID = 32
_SEPARATOR = r"[^0-9a-z]{0,2}"
_BETWEEN_BYTES = r"[:\-._ ]?"
_OF_PEOPLE = frozenset({SecretKind.HOST, SecretKind.MAIL, SecretKind.USER})
_HEX_RUN = re.compile(r"(?:(?:\\x|\\u00|%|0x)?[0-9a-f]{2}[ :,_-]?){6,}", re.IGNORECASE)
_ESCAPE = re.compile(r"(?:%|\\x|\\u00|&#x)([0-9a-f]{2});?|&#(\d{2,3});|\\([0-3][0-7]{2})", re.IGNORECASE)
_CUT = re.compile(r"…|\.\.\.")


class Sweep:
    """Replaces in texts what is secret."""

    def __init__(self, tokens: Tokens, vocabulary: Iterable[str]) -> None:
        """``vocabulary``: texts that are of the model and not of the unit; a secret that they hold is not swept."""
        self._tokens = tokens
        common = "\n".join(vocabulary).lower()
        self._swept = {
            secret: token for secret, token in tokens.secrets.items() if secret.value.strip().lower() not in common
        }
        self._known = [(*form, token) for secret, token in self._swept.items() for form in _forms(secret)]
        self._in_hex = dict(_in_hex(self._swept))
        self._done: dict[tuple[str, bool], str] = {}

    def __call__(self, text: str, *, patterns: bool = True) -> str:
        """``text`` with tokens for all that is secret; ``patterns``: also for what only has the form of a secret."""
        if len(text) < _SHORTEST_CUT or _DIGEST.match(text):
            return text
        text = text[:_LONGEST]
        key = (text, patterns)
        if key not in self._done:
            self._done[key] = self._swept_text(text, patterns=patterns)
        return self._done[key]

    def _swept_text(self, text: str, *, patterns: bool) -> str:
        plain = _ESCAPE.sub(_unescaped, text) if _ESCAPE.search(text) else text
        if plain != text:
            swept = self._replaced(plain, patterns=patterns)
            if swept != plain:
                return swept
        return self._replaced(text, patterns=patterns)

    def _replaced(self, text: str, *, patterns: bool) -> str:
        found = [*self._of_known(text), *self._in_hex_runs(text), *self._cut(text)]
        found += [
            (spot.start, spot.end, self._tokens.of(spot.secret))
            for spot in spots(text)
            if patterns or spot.secret.kind is SecretKind.MAIL  # no version and no place has that form
        ]
        pieces: list[str] = []
        done = 0
        for start, end, token in _apart(found):
            pieces += [text[done:start], token]
            done = end
        return "".join([*pieces, text[done:]])

    def _of_known(self, text: str) -> Iterator[tuple[int, int, str]]:
        lower = text.lower()
        for hint, form, token in self._known:
            if hint in lower:
                for found in re.finditer(form, text, re.IGNORECASE):
                    yield found.start(), found.end(), self._tokens.by_key.get(found[0].lower(), token)

    def _in_hex_runs(self, text: str) -> Iterator[tuple[int, int, str]]:
        """Where the bytes of a secret are written as hex digits, the whole run of digits."""
        for run in _HEX_RUN.finditer(text) if self._in_hex else ():
            digits = re.sub(r"\\x|\\u00|%|0x|[^0-9a-f]", "", run[0].lower())
            token = next((its for hex_form, its in self._in_hex.items() if hex_form in digits), "")
            if token:
                yield run.start(), run.end(), token

    def _cut(self, text: str) -> Iterator[tuple[int, int, str]]:
        """What is left of a secret before or behind an ellipsis."""
        for ellipsis in islice(_CUT.finditer(text), _MOST_CUTS):
            before = text[max(0, ellipsis.start() - _LONGEST_SECRET) : ellipsis.start()].lower()
            behind = text[ellipsis.end() : ellipsis.end() + _LONGEST_SECRET].lower()
            for secret, token in self._swept.items():
                value = secret.value.strip().lower()[:_LONGEST_SECRET]
                for length in range(len(value), _SHORTEST_CUT - 1, -1):
                    if before.endswith(value[:length]):
                        yield ellipsis.start() - length, ellipsis.start(), token
                        break
                    if behind.startswith(value[-length:]):
                        yield ellipsis.end(), ellipsis.end() + length, token
                        break


def _apart(found: Iterable[tuple[int, int, str]]) -> Iterator[tuple[int, int, str]]:
    """The places in their order; of those that overlap the longest, the others grown into it."""
    merged: list[tuple[int, int, str]] = []
    for start, end, token in sorted(found, key=lambda one: (one[0], -one[1])):
        if merged and start < merged[-1][1]:
            first, last, named = merged[-1]
            longer = token if end - start > last - first else named
            merged[-1] = (first, max(last, end), longer)
        else:
            merged.append((start, end, token))
    return iter(merged)


def _unescaped(found: re.Match[str]) -> str:
    hexadecimal, decimal, octal = found.groups()
    point = int(hexadecimal, 16) if hexadecimal else int(decimal) if decimal else int(octal, 8)
    return chr(point) if chr(point).isprintable() else found[0]


def _forms(secret: Secret) -> Iterator[tuple[str, str]]:
    """Regular expressions for the spellings of a secret, each with what a text that has it holds in lower case."""
    key = key_of(secret)
    if len(key) in _OF_HARDWARE and re.fullmatch(r"[0-9a-f]+", key) and len(set(key)) > 1:
        yield from _of_bytes(key)
        return
    value = secret.value.strip()[:_LONGEST_SECRET]
    pieces = [piece for piece in re.split(r"[\W_]+", value) if piece]
    if pieces:
        form = _form(secret.kind, value, pieces)
        hint = max(pieces, key=len).lower()
        yield from [(hint, form)] if form else []


def _form(kind: SecretKind, value: str, pieces: list[str]) -> str:
    """A regular expression for a secret that is not written in bytes; "" for one that is not looked for."""
    signs = "".join(pieces)
    digits = sum(sign.isdigit() for sign in signs)
    if digits == 0:
        words = "|".join(dict.fromkeys(re.escape(one) for one in (value, value.upper())))
        shortest = _MIXED if kind in _OF_PEOPLE else _WHOLE
        return rf"(?<![^\W_])(?-i:{words})(?![^\W_])" if len(signs) >= shortest else ""
    shape = _SEPARATOR.join(map(re.escape, pieces))
    mixed = digits < len(signs)
    if mixed and len(signs) >= _ANYWHERE:
        return shape
    if len(signs) >= (_MIXED if mixed else _WHOLE):
        return rf"(?<![^\W_]){shape if mixed else re.escape(value)}(?![^\W_])"
    return ""


def _of_bytes(digits: str) -> Iterator[tuple[str, str]]:
    pairs = re.findall("..", digits)
    orders = [pairs, pairs[::-1]]
    if len(digits) == _UUID:  # SMBIOS 7.2.1 (DSP0134): the first three fields are little-endian
        orders.append([*pairs[3::-1], *pairs[5:3:-1], *pairs[7:5:-1], *pairs[8:]])
    for order in orders:
        yield order[0], rf"(?<![0-9a-f]){_BETWEEN_BYTES.join(order)}(?![0-9a-f])"
    if len(set(digits)) > _SHORTEST_CUT:
        yield digits, digits


def _in_hex(secrets: Mapping[Secret, str]) -> Iterator[tuple[str, str]]:
    """The bytes of each secret as hex digits: ASCII or UTF-8, UTF-16 in either order; as written, small and capital."""
    for secret, token in secrets.items():
        value = secret.value.strip()
        if len(value) < _WHOLE or is_token(value):
            continue
        for spelling in dict.fromkeys((value, value.lower(), value.upper())):
            for encoding in ("utf-8", "utf-16-le", "utf-16-be"):
                yield spelling.encode(encoding, "surrogatepass").hex(), token
