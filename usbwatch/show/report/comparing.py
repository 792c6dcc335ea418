"""A report of two captures: what differs between them, by subassembly where the profile is known."""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch import __version__
from usbwatch.model import ChangeKind, NodeChange, Profile
from usbwatch.model import Kind as Kind_
from usbwatch.show.diff_view import changes_sentence, fact_words, sits_in, told_words
from usbwatch.show.harness import stubs
from usbwatch.show.report.making import look_of, seen_rows, unit_facts
from usbwatch.show.report.source import Asked, Compared
from usbwatch.show.report.value import Changed, Kind, Report
from usbwatch.show.safe import safe
from usbwatch.show.verdict import Outcome
from usbwatch.show.words import counted, listed, node_name, trouble_words, unit_name

__all__ = ["compared"]

_FACTS = 6
_ANOTHER_BOARD = "Firmware names another machine: this is another unit, or the same one with another mainboard."


def compared(source: Compared, asked: Asked) -> Report:
    """The report of a comparison; ``source`` is redacted already where it is to be."""
    changes = source.changes
    rows = [*_of_firmware(source), *_of_nodes(source), *_of_log(source)]
    seen_less = [row for row in changes.nodes if row.kind is ChangeKind.NOT_COMPARABLE]
    outcome = Outcome.WHOLE if changes.none else Outcome.WRONG if changes.known else Outcome.NOT_ALL_SEEN
    said = _in_names(source) or changes_sentence(changes)
    return Report(
        kind=Kind.COMPARISON,
        heading=Kind.COMPARISON.value,
        title=unit_name(source.after.unit),
        made_at=asked.made_at,
        shown_at=asked.local(asked.made_at),
        made_by=f"usbwatch {__version__}",
        redacted=not asked.identify,
        outcome=outcome,
        verdict=f"{said[:1].upper()}{said[1:]}",
        notices=(
            *([_ANOTHER_BOARD] if changes.another_board else []),
            *([_seen_less(len(seen_less))] if seen_less else []),
        ),
        unit=tuple(unit_facts(source.after)),
        changed=tuple(rows),
        coverage=seen_rows(source.after.coverage),
        looks=(look_of(source.before, source.digests[0], asked), look_of(source.after, source.digests[1], asked)),
        profile=safe(source.profile.id, 60) if source.profile else "",
    )


_NAMED = 4


def _in_names(source: Compared) -> str:
    """What came, went or became another, by the names of a few devices; "" where it is only details that differ."""
    told: dict[ChangeKind, list[str]] = {}
    for one in source.changes.nodes:
        if one.kind in _TOLD and not one.follows and one.node.kind is Kind_.DEVICE:
            told.setdefault(one.kind, []).append(node_name(one.node).partition(" (")[0])
    said = [f"{_TOLD[kind]}: {listed([*names[:_NAMED], *_more(names)])}" for kind, names in told.items()]
    return "; ".join(said)


def _more(names: list[str]) -> list[str]:
    return [f"{len(names) - _NAMED} more"] if len(names) > _NAMED else []


_TOLD = {
    ChangeKind.NEW: "new",
    ChangeKind.GONE: "gone",
    ChangeKind.REPLACED: "replaced",
    ChangeKind.MOVED: "moved",
}


def _seen_less(count: int) -> str:
    return f"{count} {'node' if count == 1 else 'nodes'} could be seen in one of the two captures alone: not compared."


def _of_firmware(source: Compared) -> Iterator[Changed]:
    for one in source.changes.unit:
        yield Changed(word="changed", name=f"Firmware's {safe(one.field, 60)}", where="dmi", said=(fact_words(one),))


def _of_nodes(source: Compared) -> Iterator[Changed]:
    followers = [one for one in source.changes.nodes if one.follows]
    for one in source.changes.nodes:
        if one.kind is ChangeKind.NOT_COMPARABLE or one.follows:
            continue
        yield Changed(
            word=one.kind.value,
            name=node_name(one.node),
            where=told_words(one),
            said=tuple(_facts(one)),
            block=_block(one, source.profile),
        )
    if followers:
        devices = [one.node for one in followers if one.node.kind is Kind_.DEVICE]
        names = tuple(dict.fromkeys(node_name(node) for node in devices))[:_FACTS]
        name = f"{counted(len(followers), 'more node')} that they carry"
        yield Changed(word="with them", name=name, where="", said=names)


def _facts(change: NodeChange) -> Iterator[str]:
    for one in change.facts[:_FACTS]:
        yield f"{safe(one.field.removeprefix('facts.'), 60)}: {fact_words(one)}"
    if len(change.facts) > _FACTS:
        yield f"and {len(change.facts) - _FACTS} more"


def _block(change: NodeChange, profile: Profile | None) -> str:
    homes = stubs(profile) if profile else ()
    return next((safe(stub.part.name, 60) for stub in homes if stub.part and sits_in(change, stub)), "")


def _of_log(source: Compared) -> Iterator[Changed]:
    for one in source.changes.episodes:
        episode = one.after or one.before
        if episode is not None and one.kind is not ChangeKind.NOT_COMPARABLE:
            yield Changed(word=one.kind.value, name=trouble_words(episode), where="kernel log")
