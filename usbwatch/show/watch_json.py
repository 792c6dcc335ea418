"""A live watch as JSON, one object per line, for other programs: ``usbwatch-watch``.

The first object says what is watched, then comes one for each incident and
mark as it is told, and the last one how it ended. Each says its format, so
that a line stands by itself.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from usbwatch.model import Incident, Mark, Profile, Standing, UnitStrings, WatchEvent
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.live_page import LivePage
from usbwatch.show.watch_words import sentence_of

__all__ = ["FORMAT", "begin_object", "end_object", "event_object", "json_line", "mark_object", "watch_schema"]

FORMAT = "usbwatch-watch"
_SCHEMA = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """An expected device or a part of the profile."""

    id: str
    name: str
    kind: Literal["device", "subassembly", "section", "link", "rail", ""]


@dataclass(frozen=True, slots=True, kw_only=True)
class Begin:
    """What is watched, and how."""

    tool: str
    began_at: str
    """RFC 3339, UTC."""
    unit: UnitStrings
    profile: Named
    sources: tuple[str, ...]
    """What tells of events: ``kernel log``, ``looks``, ``readings``, ``uevents``."""
    limit_ms: int
    """An absence at least this long is seen for certain; 0 where that is not known."""
    devices: tuple[Standing, ...]
    """How each expected device stands as the watch begins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One incident: what came so close together that it is one thing that happened."""

    number: int
    at: str
    """RFC 3339, UTC."""
    at_ms: int
    """Milliseconds since the watch began."""
    change: str
    """``gone``, ``came back``, ``came``, ``fell back``, …"""
    text: str
    """The whole in words, made safe to be shown."""
    devices: tuple[Named, ...]
    """The expected devices concerned; none for what the profile does not name."""
    head: str
    """Location of the hub or controller that went and took the others along, or ""."""
    shared: tuple[Named, ...]
    """What all that went needs and nothing that was seen to stay needs, nearest to the lost ones first."""
    carrier: Named | None
    own_link: Named | None
    """The nearest link that a single device needs."""
    stayed_on_link: tuple[Named, ...]
    outside: bool
    """A helper device, not the unit's own."""
    unplaced: bool
    instead_of: tuple[int, ...]
    """Numbers of incidents told before that this one takes in; counted once, here."""
    events: tuple[WatchEvent, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """A moment that the person at the bench marked."""

    number: int
    at: str
    at_ms: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """How the watch ended."""

    lasted_ms: int
    missed: int
    """How many times the kernel said that it dropped news, so that events may be lacking."""
    devices: tuple[Standing, ...]


_KINDS: dict[str, type] = {"begin": Begin, "incident": Told, "mark": Marked, "end": End}


def begin_object(watched: LivePage) -> dict[str, Json]:
    """The first object of a watch, from how it stands as it begins."""
    profile = watched.profile
    return _object(
        "begin",
        Begin(
            tool=watched.tool,
            began_at=_at(watched.began, 0),
            unit=watched.unit,
            profile=Named(id=profile.id, name=profile.name, kind=""),
            sources=watched.sources,
            limit_ms=watched.limit_ms,
            devices=watched.standings,
        ),
    )


def event_object(incident: Incident, profile: Profile, began: datetime) -> dict[str, Json]:
    """One incident."""
    names = _names(profile)
    return _object(
        "incident",
        Told(
            number=incident.number,
            at=_at(began, incident.at_ms),
            at_ms=incident.at_ms,
            change=incident.change.value,
            text=sentence_of(incident, profile),
            devices=_named(incident.devices, names),
            head=incident.head,
            shared=_named(incident.shared, names),
            carrier=names.get(incident.carrier),
            own_link=names.get(incident.own_link),
            stayed_on_link=_named(incident.stayed_on_link, names),
            outside=incident.outside,
            unplaced=incident.unplaced,
            instead_of=incident.instead_of,
            events=incident.events,
        ),
    )


def mark_object(mark: Mark, number: int, began: datetime) -> dict[str, Json]:
    """One mark; ``number`` counts from 1."""
    return _object("mark", Marked(number=number, at=_at(began, mark.at_ms), at_ms=mark.at_ms, text=mark.text))


def end_object(watched: LivePage) -> dict[str, Json]:
    """The last object of a watch."""
    return _object("end", End(lasted_ms=watched.now_ms, missed=watched.missed, devices=watched.standings))


def json_line(value: Mapping[str, Json]) -> str:
    """One object as one line of ASCII, ended by a line feed."""
    return json.dumps(value, allow_nan=False, separators=(", ", ": ")).replace("\x7f", "\\u007f") + "\n"


def _object(kind: str, value: object) -> dict[str, Json]:
    plain = plain_value(value)
    assert isinstance(plain, dict)
    return {"format": FORMAT, "schema": _SCHEMA, "type": kind, **plain}


def _at(began: datetime, at_ms: int) -> str:
    moment = (began + timedelta(milliseconds=at_ms)).astimezone(UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03}Z"


def _names(profile: Profile) -> dict[str, Named]:
    parts = {part.id: Named(id=part.id, name=part.name, kind=part.kind.value) for part in profile.parts}
    return parts | {device.id: Named(id=device.id, name=device.name, kind="device") for device in profile.devices}


def _named(ids: Sequence[str], names: Mapping[str, Named]) -> tuple[Named, ...]:
    return tuple(names[one] for one in ids if one in names)


def watch_schema() -> dict[str, Json]:
    """The JSON Schema (2020-12) of one line, made from the values that it is made from."""
    import msgspec

    _, definitions = msgspec.json.schema_components(_KINDS.values(), ref_template="#/$defs/{name}")
    for kind, value in _KINDS.items():
        body = definitions[value.__name__]
        head = {"format": {"const": FORMAT}, "schema": {"const": _SCHEMA}, "type": {"const": kind}}
        body["properties"] = {**head, **body["properties"]}
        body["required"] = [*head, *body["required"]]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "usbwatch watch, one line",
        "oneOf": [{"$ref": f"#/$defs/{value.__name__}"} for value in _KINDS.values()],
        "$defs": definitions,
    }
