"""What a profile can and cannot tell apart, in words and as signs for the drawing of the harness."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from usbwatch.localise.discerning import Alike, Discerned, Left
from usbwatch.localise.failing import Failing
from usbwatch.localise.tried import MEASURE
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
_LISTED = 50
"""Look-alikes that a validation lists."""


def marks(profile: Profile, discerned: Discerned) -> dict[str, Mark]:
    """By id of each subassembly and link: the worst that is to be said of telling it from others.

    What no capture shows of a piece counts only where no capture shows anything of it.
    """
    pieces = [part.id for part in profile.parts if part.kind in (PartKind.SUBASSEMBLY, PartKind.LINK)]
    groups = {piece: [group for group in discerned.groups if piece in group.pieces] for piece in pieces}
    return {piece: _mark(piece, [each for each in own if each.lost] or own) for piece, own in groups.items()}


def _mark(piece: str, groups: Sequence[Alike]) -> Mark:
    left = {each.piece for group in groups for alike in _worth_saying(group) for each in alike.failing}
    if not groups or piece in left:
        return _BY_NOTHING
    return _BY_CAPTURE if all(group.lost and len(group.pieces) == 1 for group in groups) else _BY_HAND


def _worth_saying(group: Alike) -> list[Left]:
    """What is left alike, without boards of which only some unspecific look tells, such as one for liquid."""
    return [left for left in group.left if not all(each.works_badly for each in left.failing)]


def legend(profile: Profile) -> list[Line]:
    """What the signs of the drawing say."""
    signs = (
        ("  ✓", _BY_CAPTURE.style, " a capture tells it   "),
        ("h", _BY_HAND.style, " a hand check must help   "),
        ("?", _BY_NOTHING.style, " not told from all others"),
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
    sections = (
        ("Told apart by a capture", list(speech.of_pieces(discerned.by_capture))),
        ("Told apart only by a hand check", [one for group in discerned.by_hand for one in speech.by_hand(group)]),
        ("Cannot be told apart but by exchanging one", speech.all_left(discerned)),
        ("Shown by no capture", list(speech.unseen(discerned))),
    )
    return [one for title, lines in sections if lines for one in (*heading(title), *lines)]


class _Speech:
    """Names by id, and the sentences made of them."""

    def __init__(self, profile: Profile) -> None:
        self._parts: dict[str, Part] = {part.id: part for part in profile.parts}
        self._names = {part.id: safe(part.name, _NAME) for part in profile.parts}
        self._names |= {device.id: safe(device.name, _NAME) for device in profile.devices}
        self._names |= {variant.id: safe(variant.name, _NAME) for variant in profile.variants}

    def name(self, id_: str) -> str:
        return self._names.get(id_, safe(id_, _NAME))

    def of_pieces(self, groups: Sequence[Alike]) -> Iterable[Line]:
        """Per piece, what of it a capture alone shows to be the one."""
        by_piece: dict[str, list[str]] = {}
        for group in groups:
            by_piece.setdefault(group.pieces[0], []).extend(self.failures(group.failing))
        for piece, names in by_piece.items():
            whole = "as a whole" if self.name(piece) in names else ""
            own = [self._shorter(name, piece) for name in dict.fromkeys(names) if name != self.name(piece)]
            said = "; ".join(filter(None, [whole, ", ".join(own)]))
            yield line("  ", (self.name(piece), Style.STRONG), f": {said}", hang=4)

    def failures(self, failing: Iterable[Failing]) -> list[str]:
        return list(dict.fromkeys(self.name(each.of) for each in failing))

    def by_hand(self, group: Alike) -> Iterable[Line]:
        if group.split_by:
            yield line("  ", (f"{self.lost(group)}: ", Style.STRONG), f"{self.either(group.failing)}?", hang=4)
            in_part = "in part: " if group.left else ""
            yield line("    ", (f"→ {in_part}", Style.FAINT), self.tellers(group.split_by), hang=6)

    def all_left(self, discerned: Discerned) -> list[Line]:
        told = self.left(discerned)
        return [
            line("  ", (what, Style.STRONG), either, (remedy, Style.FAINT), hang=4) for what, either, remedy in told
        ]

    def left(self, discerned: Discerned) -> Iterable[tuple[str, str, str]]:
        """What nothing tells apart: what is lost, what it may be, and what would tell."""
        found = [("", group, left) for group in discerned.groups for left in _worth_saying(group)]
        found += [(f"in {self.name(each.variant)}, ", each.group, each.left) for each in discerned.in_variants]
        for variant, group, left in found:
            what = f"{variant}{self.lost(group)}: " if group.lost or variant else ""
            yield what, f"{self.either(left.failing)}; ", self.remedy(left)

    def lost(self, group: Alike) -> str:
        """What a capture then loses, the rest of many by their number."""
        names = [self.name(id_) for id_ in group.lost]
        if len(names) > _SHOWN:
            names = [*names[: _SHOWN - 1], f"{len(names) - _SHOWN + 1} more"]
        return f"{listed(names)} lost" if names else "no capture shows it"

    def either(self, failing: Iterable[Failing]) -> str:
        """The pieces that may be it, each with what of it may be."""
        by_piece: dict[str, list[Failing]] = {}
        for each in failing:
            by_piece.setdefault(each.piece, []).append(each)
        return listed([self._piece(piece, own) for piece, own in by_piece.items()], "or")

    def _piece(self, piece: str, own: Sequence[Failing]) -> str:
        inner = [self._shorter(name, piece) for name in self.failures(own) if name != self.name(piece)]
        shown = inner if len(inner) <= _SHOWN else [*inner[: _SHOWN - 1], f"{len(inner) - _SHOWN + 1} more"]
        whole = any(each.of == piece for each in own)
        return f"{self.name(piece)} ({', '.join(shown)})" if inner and not whole else self.name(piece)

    def _shorter(self, name: str, piece: str) -> str:
        """A part's name beside its piece's: "USB section" for "USB section of the mainboard"."""
        return name.removesuffix(f" of the {self.name(piece).casefold()}")

    def tellers(self, ids: Iterable[str]) -> str:
        return ", ".join(self._teller(id_) for id_ in ids)

    def _teller(self, id_: str) -> str:
        part = id_.removeprefix(MEASURE)
        return safe(id_, 60) if part == id_ else f"measure {self.name(part)}"

    def remedy(self, alike: Left) -> str:
        """What would tell them apart: the hand checks that the profile lacks, and what only some units have."""
        needs = listed([f'["{safe(of, 60)}"]' for of in alike.lacking])
        checks = "a hand check" if len(alike.lacking) == 1 else "hand checks"
        others = [self.name(id_) for id_ in sorted(alike.in_some_units)]
        where = f" (so would {listed(others, 'or')}, in a unit that has it)" if others else ""
        return f"{checks} with needs = {needs} would tell{where}"

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
        f"{speech.lost(group)}: {speech.either(group.failing)}; told apart{' in part' if group.left else ''} by"
        f" {speech.tellers(group.split_by)}"
        for group in discerned.by_hand
        if group.split_by
    ]
    told += [f"{what or 'no capture shows it: '}{either}{remedy}" for what, either, remedy in speech.left(discerned)]
    more = [f"and {len(told) - _LISTED} more, which usbwatch profile show lists"] if len(told) > _LISTED else []
    return [line(("  alike ", Style.FAINT), one, hang=8) for one in (*told[:_LISTED], *more)]


def discerned_notes(profile: Profile, discerned: Discerned) -> tuple[tuple[str, str], ...]:
    """Pairs of place and remark: devices that nothing proves, observes or explains.

    A part that nothing names is left to the notes that need no fault model.
    """
    kinds = {part.id: part.kind.value for part in profile.parts} | {device.id: "device" for device in profile.devices}
    needed = {need for device in profile.devices for need in device.needs}
    needed |= {device.id for device in profile.devices}.difference(discerned.unproven)
    unobserved = (each.of for each in discerned.unobserved if not each.works_badly and each.of in needed)
    return (
        *((f"device.{id_}", _UNPROVEN) for id_ in discerned.unproven),
        *((f"{kinds[id_]}.{id_}", _UNOBSERVED) for id_ in unobserved),
        *((f"device.{id_}", _UNEXPLAINED) for id_ in discerned.unexplained),
    )


_UNPROVEN = "no capture proves it, and no hand check asks about it; add one whose needs end with it"
_UNOBSERVED = "nothing that a capture or a hand check shows depends on it; add a hand check that does"
_UNEXPLAINED = (
    "its loss is better explained by what the profile does not know than by all that it names; raise the weights on its"
    " way, or name in needs what it is lost with"
)
