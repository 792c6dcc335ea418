"""Profiles on the screen: the list of them, one in full, and the answer to whether one is sound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from usbwatch.localise.discerning import Discerned
from usbwatch.model import ExpectedDevice, HandCheck, Match, Part, PartKind, Profile, Rung, Variant
from usbwatch.show.discerned_view import alike_lines, discerned_lines, discerned_notes, legend, marks
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.harness_drawing import drawing
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.profile_origin import origin_lines
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, labelled, perforation, stub_heading
from usbwatch.show.words import counted, cure

__all__ = ["profile_list_view", "profile_page", "profile_sound_view", "profile_view"]

_SET_IN = 2
_COLUMN = 14


def profile_list_view(profiles: Sequence[Profile], origins: Mapping[str, str] | None = None) -> list[Line]:
    """The known profiles, one short paragraph each; ``origins`` says by id where each comes from."""
    if not profiles:
        return [line("No profile is known.")]
    known = origins or {}
    lines = [one for profile in profiles for one in (BLANK, *_entry(profile, known.get(profile.id, "")))]
    return lines[1:]


def _entry(profile: Profile, origin: str = "") -> list[Line]:
    said = (profile.source, profile.author, profile.date)
    fits = "any laptop, by function" if profile.generic else _match_words(profile.match)
    return [
        line((safe(profile.id, 60), Style.STRONG), f"  {safe(profile.name, 80)}", hang=_SET_IN),
        line(f"  {_size(profile)}", hang=_SET_IN),
        *labelled("fits", [fits], _SET_IN, column=8),
        *labelled("source", [safe(one).rstrip(".") for one in said if one], _SET_IN, column=8),
        *origin_lines(profile, origin),
    ]


def _size(profile: Profile) -> str:
    subassemblies = sum(part.kind is PartKind.SUBASSEMBLY for part in profile.parts)
    counts = [counted(len(profile.devices), "device"), f"in {subassemblies} subassemblies"]
    if subassemblies == 1:
        counts[1] = "in 1 subassembly"
    checks = f", {counted(len(profile.checks), 'hand check')}" if profile.checks else ""
    return " ".join(counts) + checks


def _match_words(match: Match) -> str:
    keys = [f"{safe(key, 40)} {' or '.join(safe(one, 60) for one in values)}" for key, values in match.strings.items()]
    return ", ".join(keys) if keys else "no unit by itself; only when named"


def profile_page(profile: Profile, discerned: Discerned, width: int) -> list[Line]:
    """What one profile can and cannot localise: its harness as a drawing, then what is told apart, and how."""
    return [
        *_entry(profile),
        BLANK,
        *drawing(profile, marks(profile, discerned), width),
        BLANK,
        *legend(profile),
        *discerned_lines(profile, discerned),
        *_variants(profile.variants),
    ]


def profile_view(profile: Profile, width: int) -> list[Line]:
    """One profile by subassembly: links, devices with all they depend on, hand checks, variants; with every id."""
    return [
        *_entry(profile),
        *(one for stub in stubs(profile) for one in _stub_lines(stub, profile, width)),
        *_checks(profile),
        *_variants(profile.variants),
        *_money(profile),
    ]


def _stub_lines(stub: Stub, profile: Profile, width: int) -> list[Line]:
    parts = {part.id: part for part in profile.parts}
    lines = [BLANK, perforation(stub, width)]
    remedy = cure(stub.part, parts, profile.money) if stub.part else ""
    lines += stub_heading(stub, remedy, width, Style.FAINT)
    lines += labelled("named", [safe(stub.part.id, 60)] if stub.part else [], _SET_IN)
    for link in stub.links:
        lines += labelled("link", [f"{_with_id(link)}, {cure(link, parts, profile.money)}"], _SET_IN)
    owners = {part.id for part in (*stub.links, *([stub.part] if stub.part else []))}
    for part in profile.parts:
        if part.within in owners:
            lines += labelled(part.kind.value, [_with_id(part)], _SET_IN)
    return [*lines, *(one for device in stub.devices for one in _device_lines(device, profile))]


def _with_id(named: Part | ExpectedDevice) -> str:
    """What it is called, and the word by which commands name it."""
    return f"{safe(named.name, 60)} ({safe(named.id, 60)})"


def _device_lines(device: ExpectedDevice, profile: Profile) -> list[Line]:
    said = [] if safe(device.name, 60).casefold() == device.function else [safe(device.function, 40)]
    said += [f"{device.speed_mbps} Mbit/s"] if device.speed_mbps else []
    said += [f"PCI Express x{device.lanes}"] if device.lanes else []
    said += [f"{device.link_gts:g} GT/s"] if device.link_gts else []
    said += ["not in every unit"] if device.optional else []
    said += [f"a healthy one gets as far as {device.reaches.value}"] if device.reaches is not Rung.WORKING else []
    where = [safe(one, 120) for one in device.locations] or ["anywhere inside, told by its function"]
    return [
        line("  ", (_with_id(device), Style.STRONG), f": {', '.join(said)}" if said else "", hang=4),
        *labelled("at", where, 4, column=_COLUMN),
        *labelled("identity", [safe(one, 60) for one in device.identities], 4, column=_COLUMN),
        *labelled("firmware", [safe(one, 60) for one in device.firmware_names], 4, column=_COLUMN),
        *labelled("depends on", _needs(device.needs, profile), 4, column=_COLUMN),
    ]


def _needs(needs: tuple[str, ...], profile: Profile) -> list[str]:
    known = {part.id: part.name for part in profile.parts} | {device.id: device.name for device in profile.devices}
    return [safe(known.get(one, one), 60) for one in needs]


def _checks(profile: Profile) -> list[Line]:
    if not profile.checks:
        return []
    return [*heading("Hand checks"), *(one for check in profile.checks for one in _check_lines(check, profile))]


def _check_lines(check: HandCheck, profile: Profile) -> list[Line]:
    return [
        line("  ", (safe(check.id, 60), Style.STRONG), f"  {safe(check.question)} ({check.minutes} min)", hang=4),
        *labelled("depends on", _needs(check.needs, profile), 4, column=_COLUMN),
        *labelled("caution", [safe(check.caution)] if check.caution else [], 4, Style.CAUTION, column=_COLUMN),
    ]


def _variants(variants: tuple[Variant, ...]) -> list[Line]:
    if not variants:
        return []
    lines = heading("Variants")
    for one in variants:
        lines.append(line("  ", (safe(one.id, 60), Style.STRONG), f"  {safe(one.name, 80)}", hang=4))
        lines += labelled("told by", [_match_words(one.match)], 4, column=_COLUMN)
        lines += labelled("without", [safe(each, 60) for each in one.without], 4, column=_COLUMN)
    return lines


def _money(profile: Profile) -> list[Line]:
    money = profile.money
    known = (
        ("working", money.value_working),
        ("as it is", money.value_as_is),
        ("in parts", money.value_parts),
        ("bench hour", money.hourly_rate),
    )
    said = [
        f"{word} {safe(money.currency, 8)} {amount}".replace("  ", " ") for word, amount in known if amount is not None
    ]
    return [*heading("Worth"), *labelled("unit", said, _SET_IN, column=8)] if said else []


def profile_sound_view(
    profile: Profile, notes: Sequence[tuple[str, str]] = (), discerned: Discerned | None = None
) -> list[Line]:
    """What is said of a profile in which no fault was found; ``notes`` are pairs of place and remark.

    What looks alike in a capture, with what would tell it apart, comes last.
    """
    name = safe(profile.path or profile.id)
    notes = (*notes, *(discerned_notes(profile, discerned) if discerned else ()))
    return [
        line(("✓ sound  ", Style.FINE), (name, Style.STRONG), f": {safe(profile.id, 60)}, {_size(profile)}", hang=9),
        *(line(("  note  ", Style.CAUTION), f"{safe(place, 80)}: {safe(remark)}", hang=8) for place, remark in notes),
        *(alike_lines(profile, discerned) if discerned else ()),
    ]
