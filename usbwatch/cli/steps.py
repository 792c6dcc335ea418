"""``--did`` and ``--at-hand``: what was done to a unit, and what lies ready to be put in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from usbwatch.cli.answers import did_you_mean, id_of, numbered

if TYPE_CHECKING:
    from usbwatch.model import Profile, Step, StepKind

__all__ = ["parsed_did", "part_at_hand", "refuse_back_too_soon", "step"]


def parsed_did(value: str) -> tuple[int, str, str]:
    """``swap:top-case``, ``2:drain``, …: the number of the capture after it (0: the last), kind of step, and id.

    Raises click's ``BadParameter`` for another form.
    """
    from usbwatch.model import StepKind

    number, rest = numbered(value)
    kind, _, of = rest.partition(":")
    kinds = [one.value for one in StepKind]
    if kind not in kinds:
        raise click.BadParameter(f"'{value}' does not begin with one of: {', '.join(kinds)}.")
    alone = kind == StepKind.DRAIN.value
    if alone == bool(of):
        raise click.BadParameter(
            f"'{value}': drain is done to the whole unit and takes no part."
            if alone
            else f"'{value}' is not of the form {kind}:PART."
        )
    return number, kind, of


def step(kind: str, of: str, profile: Profile, option: str = "--did") -> Step:
    """The step, once ``of`` is known to be something that such a step can be done to."""
    from usbwatch.model import Step, StepKind

    its = StepKind(kind)
    if its is not StepKind.DRAIN:
        noun, known = _done_to(its, profile)
        of = id_of(of, _named(known, profile))
        _refuse_unknown(of, noun, known, profile, option)
    return Step(kind=its, of=of)


def refuse_back_too_soon(steps: Sequence[Step], option: str = "--did") -> None:
    """Raise click's ``BadParameter`` where a part is put back that nothing had taken the place of; oldest first."""
    from usbwatch.model import StepKind

    out: set[str] = set()
    for one in steps:
        if one.kind in (StepKind.SWAP, StepKind.FIT, StepKind.MOVE):
            out.add(one.of)
        elif one.kind is StepKind.BACK:
            if one.of not in out:
                said = f"nothing was put in for '{one.of}' before it was put back; say swap or fit first."
                raise click.BadParameter(said, param_hint=f"'{option}'")
            out.remove(one.of)


def part_at_hand(name: str, profile: Profile) -> str:
    """The same id, once it is known to be of a part that can be put in; or ``unit``, another one of the model."""
    if name != "unit" or any(part.id == name for part in profile.parts):
        known = _exchangeable(profile)
        name = id_of(name, _named(known, profile))
        _refuse_unknown(name, "part to put in", known, profile, "--at-hand")
    return name


def _named(known: Sequence[str], profile: Profile) -> dict[str, str]:
    """The names of these parts and devices, by id."""
    names = {part.id: part.name for part in profile.parts} | {device.id: device.name for device in profile.devices}
    return {id_: names[id_] for id_ in known}


def _done_to(kind: StepKind, profile: Profile) -> tuple[str, list[str]]:
    """What such a step is done to, in a word, and the ids of all that the profile has of it."""
    from usbwatch.model import PartKind, StepKind

    if kind is StepKind.RELOAD:
        return "device", [device.id for device in profile.devices]
    if kind is StepKind.MOVE:
        return "link with another connector (spare) to move to", [part.id for part in profile.parts if part.spare]
    if kind in (StepKind.RESEAT, StepKind.FLEX):
        return "link", [part.id for part in profile.parts if part.kind is PartKind.LINK]
    return "part to put in", _exchangeable(profile)


def _exchangeable(profile: Profile) -> list[str]:
    from usbwatch.model import PartKind

    return [part.id for part in profile.parts if part.kind in (PartKind.SUBASSEMBLY, PartKind.LINK)]


def _refuse_unknown(name: str, noun: str, known: list[str], profile: Profile, option: str) -> None:
    if name in known:
        return
    owner = next((part.within for part in profile.parts if part.id == name and part.within in known), "")
    owner = owner or next((device.within for device in profile.devices if device.id == name), "")
    if owner in known:
        advice = f"It belongs to {owner}."
    else:
        advice = did_you_mean(name, known) if known else "It has none at all."
    raise click.BadParameter(f"profile {profile.id} has no {noun} '{name}'. {advice}", param_hint=f"'{option}'")
