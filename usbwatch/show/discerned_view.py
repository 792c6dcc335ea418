"""What a profile can and cannot tell apart, in words and as signs for the drawing of the harness."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from usbwatch.localise.discerning import Alike, Discerned, Failing
from usbwatch.localise.observations import MEASURE
from usbwatch.model import Part, PartKind, Profile
from usbwatch.show.harness_drawing import BY_HAND_SIGN, OPTIONAL_SIGN, Mark
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading
from usbwatch.show.words import listed

__all__ = ["alike_lines", "discerned_lines", "discerned_notes", "legend", "marks"]

_BY_CAPTURE = Mark(sign="✓", style=Style.FINE)
_BY_HAND = Mark(sign="h", style=Style.CAUTION)
_BY_NOTHING = Mark(sign="?", style=Style.WRONG)

_SHOWN = 4
"""Devices, and parts of one piece, that a line names."""
_NAME = 48


def marks(profile: Profile, discerned: Discerned) -> dict[str, Mark]:
    """By id of each subassembly and link: the worst that is to be said of telling it from others."""
    found = {part.id: _BY_CAPTURE for part in profile.parts if part.kind in (PartKind.SUBASSEMBLY, PartKind.LINK)}
    seen = {piece for group in discerned.groups if group.lost for piece in group.pieces}
    told = {each.piece for group in discerned.groups for each in group.failing}
    found |= {id_: _BY_NOTHING for id_ in found if id_ not in told}
    for group in discerned.groups:
        if len(group.pieces) > 1 or not group.lost:
            own = [piece for piece in group.pieces if group.lost or piece not in seen]
            left = {each.piece for alike in group.left for each in alike}
            for piece in own:
                if found.get(piece) is not _BY_NOTHING:
                    found[piece] = _BY_NOTHING if piece in left else _BY_HAND
    return found


def legend(profile: Profile) -> list[Line]:
    """What the signs of the drawing say."""
    signs = (
        ("  ✓", _BY_CAPTURE.style, " a capture tells it from all others   "),
        ("h", _BY_HAND.style, " a hand check must help   "),
        ("?", _BY_NOTHING.style, " not from every other"),
    )
    pieces: list[str | tuple[str, Style]] = []
    for sign, style, words in signs:
        pieces += [(sign, style), words]
    return [line(*pieces, hang=2), *_device_legend(profile)]


def _device_legend(profile: Profile) -> list[Line]:
    words = f"  {BY_HAND_SIGN} only a hand check proves it   {OPTIONAL_SIGN} not in every unit"
    return [line((words, Style.FAINT), hang=2)] if profile.devices else []


def discerned_lines(profile: Profile, discerned: Discerned) -> list[Line]:
    """Told apart by a capture, only by a hand check, not at all; and what no capture shows."""
    speech = _Speech(profile)
    left = [(group, alike) for group in discerned.groups for alike in group.left]
    sections = (
        ("Told apart by a capture", list(speech.of_pieces(discerned.by_capture))),
        ("Told apart only by a hand check", [one for group in discerned.by_hand for one in speech.by_hand(group)]),
        ("Cannot be told apart, but by exchanging one", [speech.left(group, alike) for group, alike in left]),
        ("Shown by no capture", list(speech.unseen(discerned))),
    )
    return [one for title, lines in sections if lines for one in (*heading(title), *lines)]


class _Speech:
    """Names by id, and the sentences made of them."""

    def __init__(self, profile: Profile) -> None:
        self._parts: dict[str, Part] = {part.id: part for part in profile.parts}
        self._names = {part.id: safe(part.name, _NAME) for part in profile.parts}
        self._names |= {device.id: safe(device.name, _NAME) for device in profile.devices}

    def name(self, id_: str) -> str:
        return self._names.get(id_, safe(id_, _NAME))

    def of_pieces(self, groups: Sequence[Alike]) -> Iterable[Line]:
        """Per piece, what of it a capture alone shows to be the one."""
        by_piece: dict[str, list[str]] = {}
        for group in groups:
            by_piece.setdefault(group.pieces[0], []).extend(self.failures(group.failing))
        for piece, names in by_piece.items():
            whole = "as a whole" if self.name(piece) in names else ""
            own = [name for name in dict.fromkeys(names) if name != self.name(piece)]
            said = "; ".join(filter(None, [whole, ", ".join(own)]))
            yield line("  ", (self.name(piece), Style.STRONG), f": {said}", hang=4)

    def failures(self, failing: Iterable[Failing]) -> list[str]:
        return list(dict.fromkeys(self.name(each.of) for each in failing))

    def by_hand(self, group: Alike) -> Iterable[Line]:
        if group.split_by:
            yield line("  ", (f"{self.lost(group)}: ", Style.STRONG), f"{self.either(group.failing)}?", hang=4)
            yield line("    ", ("→ ", Style.FAINT), self.tellers(group.split_by), hang=6)

    def left(self, group: Alike, alike: Sequence[Failing]) -> Line:
        what = f"{self.lost(group)}: " if group.lost else ""
        return line("  ", (what, Style.STRONG), f"{self.either(alike)}; ", (self.remedy(alike), Style.FAINT), hang=4)

    def lost(self, group: Alike) -> str:
        """What a capture then loses, the rest of many by their number."""
        names = [self.name(id_) for id_ in group.lost]
        if len(names) > _SHOWN:
            names = [*names[: _SHOWN - 1], f"{len(names) - _SHOWN + 1} more"]
        return f"{listed(names)} lost" if names else "nothing lost"

    def either(self, failing: Iterable[Failing]) -> str:
        """The pieces that may be it, each with what of it may be."""
        by_piece: dict[str, list[Failing]] = {}
        for each in failing:
            by_piece.setdefault(each.piece, []).append(each)
        return listed([self._piece(piece, own) for piece, own in by_piece.items()], "or")

    def _piece(self, piece: str, own: Sequence[Failing]) -> str:
        inner = [name for name in self.failures(own) if name != self.name(piece)]
        shown = inner if len(inner) <= _SHOWN else [*inner[: _SHOWN - 1], f"{len(inner) - _SHOWN + 1} more"]
        whole = any(each.of == piece for each in own)
        return f"{self.name(piece)} ({', '.join(shown)})" if inner and not whole else self.name(piece)

    def tellers(self, ids: Iterable[str]) -> str:
        return ", ".join(self._teller(id_) for id_ in ids)

    def _teller(self, id_: str) -> str:
        part = id_.removeprefix(MEASURE)
        return safe(id_, 60) if part == id_ else f"measure {self.name(part)}"

    def remedy(self, alike: Sequence[Failing]) -> str:
        """What would tell them apart: what the unit may have, else the hand check that the profile lacks."""
        perhaps = frozenset().union(*(each.perhaps for each in alike)) - frozenset.intersection(
            *(each.perhaps for each in alike)
        )
        where = f" (so would {listed([self.name(id_) for id_ in sorted(perhaps)], 'or')}, in units that have it)"
        return f"{self._lacking(alike)} would tell{where if perhaps else ''}"

    def _lacking(self, alike: Sequence[Failing]) -> str:
        """The check that would have to be: about a link, else a rail, else whatever is named first."""
        order = {PartKind.LINK: 0, PartKind.RAIL: 1, PartKind.SECTION: 2, PartKind.SUBASSEMBLY: 3}
        ranked = sorted(alike, key=lambda each: order[self._parts[each.of].kind] if each.of in self._parts else 4)
        return f'a hand check with needs = ["{safe(ranked[0].of, 60)}"]'

    def unseen(self, discerned: Discerned) -> Iterable[Line]:
        """What takes a hand check to be seen at all; what only some units show; what nothing shows."""
        unseen = discerned.unseen.failing if discerned.unseen else ()
        groups = (
            ("by a hand check", [each for each in unseen if not each.works_badly]),
            ("by devices that not every unit has", discerned.perhaps),
            ("by nothing", [each for each in discerned.unobserved if not each.works_badly]),
        )
        for words, failing in groups:
            if failing:
                yield line("  ", (f"{words}: ", Style.STRONG), ", ".join(self.failures(failing)), hang=4)


def alike_lines(profile: Profile, discerned: Discerned) -> list[Line]:
    """Each group that a capture cannot tell apart, with what would, as a validation lists them."""
    speech = _Speech(profile)
    told = [
        f"{speech.lost(group)}: {speech.either(group.failing)}; told apart by {speech.tellers(group.split_by)}"
        for group in discerned.by_hand
        if group.split_by
    ]
    left = [(group, alike) for group in discerned.groups for alike in group.left]
    told += [f"{speech.lost(group)}: {speech.either(alike)}; {speech.remedy(alike)}" for group, alike in left]
    return [line(("  alike ", Style.FAINT), one, hang=8) for one in told]


def discerned_notes(profile: Profile, discerned: Discerned) -> tuple[tuple[str, str], ...]:
    """Pairs of place and remark: devices that nothing proves, observes or explains."""
    kinds = {part.id: part.kind.value for part in profile.parts} | {device.id: "device" for device in profile.devices}
    needed = {need for device in profile.devices for need in device.needs}
    needed |= {need for check in profile.checks for need in check.needs}
    unobserved = [
        each.of for each in discerned.unobserved if not each.works_badly and each.of not in discerned.unproven
    ]
    return (
        *((f"device.{id_}", _UNPROVEN) for id_ in discerned.unproven),
        *((f"{kinds[id_]}.{id_}", _UNOBSERVED) for id_ in unobserved if kinds[id_] == "device" or id_ in needed),
        *((f"device.{id_}", _UNEXPLAINED) for id_ in discerned.unexplained),
    )


_UNPROVEN = "no capture proves it, and no hand check asks about it; add one whose needs end with it"
_UNOBSERVED = "nothing that a capture or a hand check shows depends on it; add a hand check that does"
_UNEXPLAINED = (
    "its loss is better explained by what the profile does not know than by all that it names; raise the weights on its"
    " way, or name in needs what it is lost with"
)
