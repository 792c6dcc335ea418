"""Tokens that stand for what is secret: ``serial-1``, ``address-2``.

The same value has the same token all through a report, different values have
different ones, and they are numbered as they first appear: no token is made
from the value, so none can be worked back to it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple

__all__ = ["Secret", "SecretKind", "Tokens", "is_token", "key_of"]


class SecretKind(Enum):
    """What sort of thing a secret is: the word that its token begins with."""

    SERIAL = "serial"
    ADDRESS = "address"
    """A network, Bluetooth or IP address."""
    UUID = "uuid"
    """Of a unit, a disk or a file system."""
    HOST = "host"
    USER = "user"
    LABEL = "label"
    """Of a volume."""
    MAIL = "mail"
    NETWORK = "network"
    """The name of a wireless network."""
    NAME = "name"
    """A unit's label that is no number."""


class Secret(NamedTuple):
    """One value that is not to be told."""

    kind: SecretKind
    value: str


_TOKEN = re.compile(rf"(?:{'|'.join(kind.value for kind in SecretKind)})-[1-9][0-9]{{0,8}}")
_HEX = re.compile(r"[^0-9a-f]")
_UUID_DIGITS = 32
_ADDRESS_DIGITS = (12, 16)


def is_token(text: str) -> bool:
    """Whether a text has the form of a token.

    >>> is_token("serial-1"), is_token("serial port")
    (True, False)
    """
    return _TOKEN.fullmatch(text) is not None


def key_of(secret: Secret) -> str:
    """By this two spellings are the same secret: addresses and UUIDs by their digits, all else without case.

    >>> key_of(Secret(SecretKind.ADDRESS, "02-4C-47-00-00-01"))
    '024c47000001'
    """
    plain = secret.value.strip().lower()
    digits = _HEX.sub("", plain)
    if secret.kind is SecretKind.UUID and len(digits) == _UUID_DIGITS:
        return digits
    of_hardware = secret.kind is SecretKind.ADDRESS and "." not in plain and len(digits) in _ADDRESS_DIGITS
    return digits if of_hardware else plain


@dataclass(slots=True)
class Tokens:
    """The tokens given so far."""

    by_key: dict[str, str] = field(default_factory=dict)
    secrets: dict[Secret, str] = field(default_factory=dict)
    """Every spelling that was met, with its token."""
    _taken: set[str] = field(default_factory=set)
    _last: Counter[SecretKind] = field(default_factory=Counter)

    def reserve(self, texts: Iterable[str]) -> None:
        """Give no token that stands in one of these texts already: something may truly be called so."""
        for text in texts:
            if "-" in text:
                self._taken.update(_TOKEN.findall(text))

    def of(self, secret: Secret) -> str:
        """The token of a secret, a new one where it has none yet."""
        key = key_of(secret)
        if key not in self.by_key:
            self.by_key[key] = self._next(secret.kind)
        self.secrets.setdefault(secret, self.by_key[key])
        return self.by_key[key]

    def _next(self, kind: SecretKind) -> str:
        while True:
            self._last[kind] += 1
            token = f"{kind.value}-{self._last[kind]}"
            if token not in self._taken:
                return token
