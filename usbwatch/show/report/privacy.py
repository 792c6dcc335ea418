"""What identifies a unit and people, replaced by stable tokens before anything is rendered.

It works on values: fields that hold a serial number, an address or the like get
a token (``secret_fields``), free text is left out, and every other text is
swept for the same values, however written (``sweeping``), and for what has the
form of one (``secret_patterns``). ``docs/privacy.md`` says it in full.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

from usbwatch.casebook.story import Story, written_down
from usbwatch.model import Capture, Profile
from usbwatch.model.history import Amended, Baselined, Captured, Entry, Recorded
from usbwatch.show.report.rebuilding import Rebuilt, Walk, strings_of
from usbwatch.show.report.secret_patterns import spots
from usbwatch.show.report.source import Compared, Source
from usbwatch.show.report.sweeping import Sweep
from usbwatch.show.report.tokens import Secret, Tokens

__all__ = ["captures_named", "entries_of", "private", "private_comparison"]

_Any = TypeVar("_Any")


def private(source: Source) -> Source:
    """The same without what identifies unit and people; tokens are numbered from the unit's first entry on."""
    checked = source.localised.checked
    return _private(source, [*_oldest_first(source), source], checked.profile, checked.capture)


def private_comparison(source: Compared) -> Compared:
    """The same of a comparison."""
    return _private(source, [source.before, source.after, source], source.profile, source.after)


def _private(source: _Any, met: Iterable[object], profile: Profile | None, capture: Capture) -> _Any:
    tokens = _tokens(met)
    unit = capture.unit
    vocabulary = [*strings_of(profile), unit.sys_vendor, unit.product_name, unit.board_vendor, unit.board_name]
    found: _Any = Rebuilt(tokens, Sweep(tokens, vocabulary))(source)
    return found


def _tokens(met: Iterable[object]) -> Tokens:
    """The tokens of all secrets, numbered as they are met."""
    walk = Walk()
    found = [one for value in met for one in walk.over(value)]
    tokens = Tokens()
    tokens.reserve(dict.fromkeys(one for one in found if isinstance(one, str)))
    for one in dict.fromkeys(found):
        for secret in [one] if isinstance(one, Secret) else [spot.secret for spot in spots(one)]:
            tokens.of(secret)
    return tokens


def _oldest_first(source: Source) -> Iterator[object]:
    """A unit's entries as they were written down, each capture where it is recorded; then what no entry names."""
    seen = [(digest, one.capture) for one, digest in zip(source.localised.seen, source.digests, strict=True) if digest]
    captures = {**dict(source.earlier), **dict(seen)}
    for entry in sorted(entries_of(source.told), key=written_down) if source.told is not None else ():
        yield entry
        yield from (captures[digest] for digest in captures_named(entry.fact) if digest in captures)
    for one in source.localised.seen:
        yield one.capture


def entries_of(told: Story) -> Iterator[Entry]:
    """Every entry of a unit, amendments with what they amend."""
    for standing in told.standings:
        yield standing.entry
        yield from standing.amendments


def captures_named(fact: Recorded | None) -> tuple[str, ...]:
    """Digests of the captures that a fact names."""
    if isinstance(fact, Amended):
        return captures_named(fact.instead)
    return (fact.capture,) if isinstance(fact, Captured | Baselined) else ()
