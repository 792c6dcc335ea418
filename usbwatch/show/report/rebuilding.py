"""A walk over values of data classes: first what they hold, then the same values with other texts in them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any

from usbwatch.model import FactChange, Node, Profile, Suspects
from usbwatch.show.report.secret_fields import TEXTS, UNSWEPT, kind_of_field, of_panel, secret_of
from usbwatch.show.report.sweeping import Sweep
from usbwatch.show.report.tokens import Secret, Tokens

__all__ = ["Rebuilt", "Walk", "strings_of"]

_OF_THE_MODEL = (Profile, Suspects)
"""Values that are made from the profile alone, or from ids of it: nothing in them is of the unit."""


_NAMES: dict[type, tuple[str, ...]] = {}
"""Names of fields by data class, worked out once."""


def _names(value: Any) -> tuple[str, ...]:  # noqa: ANN401 - a data class of any sort
    kind = type(value)
    if kind not in _NAMES:
        _NAMES[kind] = tuple(field.name for field in fields(kind))
    return _NAMES[kind]


class Walk:
    """What values hold, in the order in which it is met, each value once."""

    def __init__(self) -> None:
        self._seen: dict[int, object] = {}

    def over(self, value: object) -> Iterator[Secret | str]:
        """The secrets that stand in fields of their own, and every other text that is not left out anyway."""
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict):
            for one in value.values():
                yield from self.over(one)
        elif isinstance(value, tuple | list):
            for one in value:
                yield from self.over(one)
        elif is_dataclass(value) and not isinstance(value, _OF_THE_MODEL) and id(value) not in self._seen:
            self._seen[id(value)] = value
            yield from self._of_fields(value)

    def _of_fields(self, owner: object) -> Iterator[Secret | str]:
        for name in _names(owner):
            value = getattr(owner, name)
            if (type(owner), name) in TEXTS or (isinstance(owner, Node) and name == "raw"):
                continue
            if isinstance(owner, Node) and name == "facts":
                for fact, told in value.items():
                    yield from self._of_field(owner, fact, told)
            else:
                yield from self._of_field(owner, name, value)
        if isinstance(owner, Node):
            yield from of_panel(owner)

    def _of_field(self, owner: object, name: str, value: object) -> Iterator[Secret | str]:
        kind = kind_of_field(owner, name)
        secret = secret_of(kind, value) if kind is not None else None
        if secret is not None:
            yield secret
        elif name not in UNSWEPT:
            yield from self.over(value)


def strings_of(value: object) -> Iterator[str]:
    """Every text in a value, such as a profile."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from strings_of(one)
    elif isinstance(value, tuple | list):
        for one in value:
            yield from strings_of(one)
    elif is_dataclass(value):
        for name in _names(value):
            yield from strings_of(getattr(value, name))


class Rebuilt:
    """Gives values with tokens in place of secrets; one that holds none is the very same value."""

    def __init__(self, tokens: Tokens, sweep: Sweep) -> None:
        self._tokens = tokens
        self._sweep = sweep
        self._done: dict[int, tuple[object, object]] = {}

    def __call__(self, value: Any, name: str = "") -> Any:  # noqa: ANN401 - of any type, and the same comes back
        """``value``, which stands in the field ``name``, without what is secret."""
        if isinstance(value, str):
            return self._sweep(value, patterns=name not in UNSWEPT)
        if isinstance(value, dict):
            return _if_changed(value, {key: self(one, key) for key, one in value.items()})
        if isinstance(value, tuple):
            return _tuple(value, [self(one, name) for one in value])
        if not is_dataclass(value) or isinstance(value, _OF_THE_MODEL):
            return value
        if id(value) not in self._done:
            self._done[id(value)] = (value, self._fields(value))
        return self._done[id(value)][1]

    def _fields(self, owner: Any) -> object:  # noqa: ANN401 - a data class of any sort
        changed = {}
        for name in _names(owner):
            old = getattr(owner, name)
            new = self._field(owner, name, old)
            if new is not old:
                changed[name] = new
        return replace(owner, **changed) if changed else owner

    def _field(self, owner: object, name: str, value: object) -> object:
        instead = TEXTS.get((type(owner), name))
        if instead is not None:
            return _left_out(value, instead)
        if isinstance(owner, Node) and name == "raw":
            return {} if value else value
        if isinstance(owner, Node) and name == "facts":
            told = {fact: self._own(owner, fact, each) for fact, each in owner.facts.items()}
            return _if_changed(owner.facts, told)
        if isinstance(owner, FactChange) and owner.field.startswith("raw.") and isinstance(value, str):
            return value.partition(": ")[0]  # the bytes that differ may be those of a serial number
        return self._own(owner, name, value)

    def _own(self, owner: object, name: str, value: object) -> object:
        kind = kind_of_field(owner, name)
        secret = secret_of(kind, value) if kind is not None else None
        return self._tokens.of(secret) if secret is not None else self(value, name)


def _left_out(value: object, instead: str) -> object:
    """``instead`` where there is something; of several things once."""
    if isinstance(value, tuple):
        return _if_changed(value, (instead,) if value else ())
    return instead if value and value != instead else value


def _if_changed(old: object, new: object) -> object:
    return old if old == new else new


def _tuple(old: tuple[object, ...], new: list[object]) -> tuple[object, ...]:
    if all(one is other for one, other in zip(old, new, strict=True)):
        return old
    named: Any = type(old)
    return tuple(new) if named is tuple else named(*new)
