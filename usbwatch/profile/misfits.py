"""What does not fit the shape of a profile, all of it, in words.

Only read when the fast reader has refused a file: jsonschema finds every
misfit, and the table at the end says each kind as a sentence of ours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from usbwatch.profile.faults import Fault, Place, quoted, suggestion, word
from usbwatch.profile.schema import document_schema

if TYPE_CHECKING:
    from jsonschema.exceptions import ValidationError

__all__ = ["misfits"]

_NOUNS = {
    "array": "a list",
    "boolean": "true or false",
    "integer": "a whole number",
    "number": "a number",
    "object": "a table",
    "string": "text in quotes",
}

_BY_KEY = {
    "date": "write it as year-month-day, such as 2026-03-14",
}


def misfits(document: dict[str, object]) -> Iterator[Fault]:
    """Every place where ``document`` does not have the shape of a profile."""
    from jsonschema import Draft202012Validator
    from jsonschema.validators import extend

    # JSON Schema takes 1.0 for a whole number; TOML tells the two apart, and so does msgspec.
    whole = Draft202012Validator.TYPE_CHECKER.redefine("integer", lambda _, value: type(value) is int)
    strict = extend(Draft202012Validator, type_checker=whole)  # type: ignore[no-untyped-call]  # the stubs' gap
    for error in strict(document_schema()).iter_errors(document):
        yield from _told(error)


def _told(error: ValidationError) -> Iterator[Fault]:
    place: Place = tuple(error.absolute_path)
    if "propertyNames" in error.absolute_schema_path:
        key = str(error.instance)
        yield Fault(place=(*place, key), problem=f"{quoted(key)} is no id; {_ID_RULE}")
    elif error.validator == "anyOf":
        yield from _told_of_either(error, place)
    else:
        yield from _WORDS.get(str(error.validator), _otherwise)(error, place)


_ID_RULE = "write lower-case words, joined by hyphens, of at most 60 characters"


def _told_of_either(error: ValidationError, place: Place) -> Iterator[Fault]:
    """A value that may be a text or a list of texts: what is wrong with the one it is."""
    inner = [each for each in error.context or () if not (each.validator == "type" and not each.relative_path)]
    if not inner:
        yield Fault(place=place, problem=f"is {quoted(error.instance)}; expected text in quotes, or a list of texts")
    for each in inner:
        yield from _told(each)


def _unknown_keys(error: ValidationError, place: Place) -> Iterator[Fault]:
    schema: Any = error.schema
    instance: Any = error.instance
    right = list(schema.get("properties", ()))
    for key in instance:
        if key not in right:
            told = _LEFT_OUT.get(key) or _of_money(key, right) or suggestion(key, right)
            near = told or f"; known here: {', '.join(right)}"
            yield Fault(place=(*place, key), problem=f"unknown key{near}")


_MONEY = frozenset({"currency", "value_working", "value_as_is", "value_parts", "hourly_rate"})


def _of_money(key: str, right: list[str]) -> str:
    """A key of [money] in another table: its heading is still behind a #."""
    if key not in _MONEY or key in right:
        return ""
    return f"; it belongs to [money]: is there a # before that heading still? {word(key)} has to stand below it"


_LEFT_OUT = dict.fromkeys(("product_serial", "board_serial"), "; a serial number names one unit, not a model")
"""Keys that are not misspelt but left out of the format on purpose."""


def _missing_keys(error: ValidationError, place: Place) -> Iterator[Fault]:
    required: Any = error.validator_value
    instance: Any = error.instance
    for key in required:
        if key not in instance:
            where = "" if place else " at the top of the file"
            yield Fault(place=place, problem=f"the key {word(key)} is missing{where}")


def _wrong_type(error: ValidationError, place: Place) -> Iterator[Fault]:
    expected = _NOUNS.get(str(error.validator_value), "something else")
    yield Fault(place=place, problem=f"is {quoted(error.instance)}; expected {expected}")


def _unknown_word(error: ValidationError, place: Place) -> Iterator[Fault]:
    words: Any = error.validator_value
    allowed = [str(each) for each in words]
    near = suggestion(error.instance, allowed) or f"; known: {', '.join(allowed)}"
    key = place[-1] if place else "value"
    yield Fault(place=place, problem=f"{quoted(error.instance)} is no known word for {key}{near}")


def _bound(sentence: str) -> _Words:
    def told(error: ValidationError, place: Place) -> Iterator[Fault]:
        shown = quoted(error.instance)
        yield Fault(place=place, problem=sentence.format(shown=shown, limit=error.validator_value))

    return told


def _pattern(error: ValidationError, place: Place) -> Iterator[Fault]:
    rule = _BY_KEY.get(str(place[-1]) if place else "", _ID_RULE)
    yield Fault(place=place, problem=f"{quoted(error.instance)} has the wrong form; {rule}")


def _otherwise(error: ValidationError, place: Place) -> Iterator[Fault]:
    yield Fault(
        place=place, problem=f"is {quoted(error.instance)}, which does not fit (rule {word(str(error.validator))})"
    )


_Words = Callable[["ValidationError", Place], Iterator[Fault]]

_WORDS: dict[str, _Words] = {
    "additionalProperties": _unknown_keys,
    "enum": _unknown_word,
    "exclusiveMinimum": _bound("is {shown}; expected more than {limit}"),
    "maxItems": _bound("has too many items; at most {limit}"),
    "maxProperties": _bound("has too many entries; at most {limit}"),
    "maxLength": _bound("is {shown}, too long; at most {limit} characters"),
    "maximum": _bound("is {shown}; expected at most {limit}"),
    "minItems": _bound("has too few items; at least {limit}"),
    "minLength": _bound("is empty; write something or leave the key out"),
    "minimum": _bound("is {shown}; expected {limit} or more"),
    "pattern": _pattern,
    "required": _missing_keys,
    "type": _wrong_type,
}
"""The sentence for each rule of the schema."""
