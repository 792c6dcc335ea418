"""A draft as the text of a profile file: TOML with comments, made to be edited by hand.

How hostile text is kept harmless: ``usbwatch.drafting.pieces``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from usbwatch.drafting.census import LeftOut
from usbwatch.drafting.draft import Draft, Entry
from usbwatch.drafting.pieces import as_comment, comment, headline, toml_lines
from usbwatch.model import ExpectedDevice, HandCheck, Part, PartKind, Rung
from usbwatch.profile.exporting import FORMAT, PROFILE_SCHEMA
from usbwatch.profile.sealing import sealed

__all__ = ["device_text", "text_of"]


def text_of(draft: Draft) -> str:
    """The text of a profile file, with its digest."""
    pieces = (
        _head(draft),
        _match(draft),
        _variants(draft),
        _subassemblies(draft),
        _sections(draft),
        _links(draft),
        _rails(draft),
        _devices(draft),
        _beside_devices(draft),
        _told(draft),
        _checks(draft),
        _MONEY,
        _basis(draft),
    )
    lines = "\n".join(line for piece in pieces for line in (*piece, ""))
    return sealed(re.sub(r"\n{3,}", "\n\n", lines).rstrip("\n") + "\n")


_UNSEALED = f"sha256:{0:064}"


def _head(draft: Draft) -> Iterator[str]:
    yield from comment(f"{draft.name}: a draft. Go through it from top to bottom before it is relied on.")
    yield "#"
    yield from comment(f"Layout: {draft.layout.name} (--layout {draft.layout.id}). It assumes:")
    for sentence in draft.layout.assumes:
        yield from comment(sentence, under="#   ")
    yield from comment("Where that is not how your unit is built, correct within, joins and needs below.")
    yield "#"
    yield from comment(
        "How to edit: every id (the word after the dot in [device.keyboard]) is used once in the whole file; needs,"
        " within and joins name such ids. A price or a time that is not known stays a comment: nothing is made up."
        " After a change run:  usbwatch profile validate THIS-FILE"
    )
    yield ""
    yield from toml_lines("format", FORMAT)
    yield from toml_lines("schema", PROFILE_SCHEMA)
    yield from toml_lines("id", draft.id)
    yield from toml_lines("name", draft.name)
    yield from comment("Shown with every answer. Once you have gone through the file, write here who did, and when:")
    yield from toml_lines("source", draft.source)
    yield '# author = ""   # who answers for it'
    if draft.date:
        yield from toml_lines("date", draft.date)
    yield from comment("Made of all that this file says when it was written, so that an edit since then can be told:")
    yield f'digest = "{_UNSEALED}"'


def _match(draft: Draft) -> Iterator[str]:
    yield from comment("Which units this is for: what firmware calls the unit. Case and spaces do not count.")
    for remark in draft.match_remarks:
        yield from comment(remark)
    strings = {key: texts[0] if len(texts) == 1 else texts for key, texts in draft.match.strings.items()}
    if strings:
        yield "[match]"
    for key, texts in strings.items():
        yield from toml_lines(key, texts)
    if strings and draft.match_offered:
        yield from comment("To narrow it down, take the # away; a list means one of these:")
        for key, text in draft.match_offered.items():
            yield from as_comment(toml_lines(key, text))


_PRICED = ("# cost =", "# minutes =")
_REPLACED = "cost: price of the part, in whole units of the currency under [money]. minutes: bench time to replace it."
_RESEATED = "cost: of a new one. minutes: to take it out and seat it again."


def _of(draft: Draft, kind: PartKind) -> list[Part]:
    return [part for part in draft.parts if part.kind is kind]


def _part(part: Part, draft: Draft, further: Iterable[str]) -> Iterator[str]:
    remark = draft.layout.remarks.get(part.id, "")
    if remark:
        yield from comment(remark)
    yield f"[{part.kind.value}.{part.id}]"
    yield from toml_lines("name", part.name)
    if part.joins:
        yield from toml_lines("joins", part.joins)
    if part.within:
        yield from toml_lines("within", part.within)
    yield from further


def _kind(draft: Draft, kind: PartKind, title: str, remark: str = "", further: Iterable[str] = ()) -> Iterator[str]:
    parts = _of(draft, kind)
    if parts:
        yield headline(title)
        yield from comment(remark)
    for part in parts:
        yield ""
        yield from _part(part, draft, further)


def _subassemblies(draft: Draft) -> Iterator[str]:
    title = "Subassemblies: what is replaced as one piece"
    return _kind(draft, PartKind.SUBASSEMBLY, title, _REPLACED, _PRICED)


def _sections(draft: Draft) -> Iterator[str]:
    return _kind(draft, PartKind.SECTION, "Sections: regions of a board that several devices share")


def _links(draft: Draft) -> Iterator[str]:
    title = "Links: what joins two subassemblies and can fail by itself"
    return _kind(draft, PartKind.LINK, title, _RESEATED, _PRICED)


def _rails(draft: Draft) -> Iterator[str]:
    return _kind(draft, PartKind.RAIL, "Rails: supplies that several devices share")


def _devices(draft: Draft) -> Iterator[str]:
    yield headline("Devices: what a healthy unit shows")
    yield from comment("needs: what it depends on, from the processor outward. When a link is out, what goes with it?")
    for entry in draft.entries:
        yield ""
        yield from device_text(entry)


_CHOOSE = "Choose its function (docs/profile.md has the words), and take the # away from these lines:"


def device_text(entry: Entry) -> list[str]:
    """The lines of one device's table, with its comments."""
    lines = [line for remark in entry.above for line in comment(remark)]
    table = list(_table(entry.device, entry.beside, entry.offered))
    if not entry.open:
        return [*lines, *table]
    told = entry.beside.get("function", "")
    bare = _table(entry.device, {}, entry.offered)
    return [*lines, *(comment(f"{told}.") if told else []), *comment(_CHOOSE), *as_comment(bare)]


def _table(device: ExpectedDevice, beside: Mapping[str, str], offered: Mapping[str, object]) -> Iterator[str]:
    yield f"[device.{device.id}]"
    for key, value in _values(device):
        yield from toml_lines(key, value, beside.get(key, ""))
    for key, value in offered.items():
        yield from comment("To hold every unit to the part that this one has, take the # away:")
        yield from as_comment(toml_lines(key, value))


def _values(device: ExpectedDevice) -> Iterator[tuple[str, object]]:
    """Keys and values, those left out that hold their default."""
    yield "name", device.name
    yield "function", device.function
    yield "within", device.within
    for key, texts in (("location", device.locations), ("identity", device.identities)):
        if texts:
            yield key, texts[0] if len(texts) == 1 else texts
    yield "needs", device.needs
    if device.reaches is not Rung.WORKING:
        yield "reaches", device.reaches.value
    for key, number in (("speed_mbps", device.speed_mbps), ("lanes", device.lanes), ("link_gts", device.link_gts)):
        if number is not None:
            yield key, number
    if device.optional:
        yield "optional", True
    if device.firmware_names:
        yield "firmware_names", device.firmware_names


def _variants(draft: Draft) -> Iterator[str]:
    if not draft.variants:
        return
    yield headline("Variants: which units lack what")
    yield from comment("The variant whose match fits with the most keys is the unit's. Give them the names you use.")
    for one in draft.variants:
        yield ""
        yield f"[variant.{one.id}]"
        yield from toml_lines("name", one.name)
        for key, texts in one.match.strings.items():
            yield from toml_lines(f"match.{key}", texts[0] if len(texts) == 1 else texts)
        if one.without:
            yield from toml_lines("without", one.without)


def _told(draft: Draft) -> Iterator[str]:
    for one in draft.told:
        if one.sentences:
            yield from ("", headline(one.title))
        for sentence in one.sentences:
            yield from comment(f"{sentence}.", under="#   ")


def _beside_devices(draft: Draft) -> Iterator[str]:
    """What the capture shows or firmware names and the draft does not expect, as comments."""
    for title, unfitted in (
        ("Named by firmware, and not there: of another variant, or lost in this unit", draft.unfitted),
        ("Named by firmware, where this capture could not see", draft.unseen),
    ):
        told = [f"{part.what}, {part.where} ({part.said_by}): {part.because}" for part in unfitted]
        yield from _listed(title, told)
    for outside, heading in ((True, "Left out: helper devices"), (False, "Left out, with the reason")):
        yield from _listed(heading, [_left_out(one) for one in draft.left_out if one.outside is outside])


_MOST_LISTED = 100
"""Lines of one list: no laptop has so many, and a file has to stay one that can be read."""


def _listed(title: str, told: list[str]) -> Iterator[str]:
    if told:
        yield from ("", headline(title))
    for sentence in told[:_MOST_LISTED]:
        yield from comment(sentence, under="#   ")
    if len(told) > _MOST_LISTED:
        yield from comment(f"and {len(told) - _MOST_LISTED} more", under="#   ")


def _left_out(one: LeftOut) -> str:
    called = " ".join(filter(None, (one.node.name, one.node.identity))) or one.node.bus
    return f"{called}, {one.node.location}: {one.reason}"


def _checks(draft: Draft) -> Iterator[str]:
    yield headline("Hand checks: what only a person can establish")
    yield from comment(
        'Asked so that "yes" is what a healthy unit gives. minutes: bench time that it takes; put in your own.'
    )
    for check in draft.checks:
        yield ""
        yield from _check(check)


def _check(check: HandCheck) -> Iterator[str]:
    yield f"[check.{check.id}]"
    yield from toml_lines("question", check.question)
    yield from toml_lines("needs", check.needs)
    if check.caution:
        yield from toml_lines("caution", check.caution)
    if check.stop:
        yield from toml_lines("stop", check.stop)
    yield f"minutes = {check.minutes}  # elicited, no source"


_MONEY = (
    headline("Money: fill in and take the # away, the one before [money] too"),
    "# [money]",
    '# currency = ""      # a sign or word shown with every amount',
    "# value_working =    # what the unit sells for when it works",
    "# value_as_is =      # what it brings as it stands",
    "# value_parts =      # what it brings in parts, less the work of taking it apart",
    "# hourly_rate =      # what an hour at the bench costs",
)


def _basis(draft: Draft) -> Iterator[str]:
    basis = draft.basis
    yield headline("Basis: what this profile rests on")
    yield "[basis]"
    values = {
        "how": basis.how,
        "layout": basis.layout,
        "units": basis.units,
        "captures": basis.captures,
        "since": basis.since,
        "until": basis.until,
    }
    for key, value in values.items():
        if value not in ("", None):
            yield from toml_lines(key, value)
