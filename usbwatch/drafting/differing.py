"""What a capture shows otherwise than a profile that a person has edited says."""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch.drafting.draft import Draft
from usbwatch.model import ExpectedDevice, Profile
from usbwatch.profile.faults import quoted

__all__ = ["differences"]


def differences(profile: Profile, fresh: Draft, known: dict[str, ExpectedDevice]) -> Iterator[str]:
    """A sentence for each value of which the capture shows another than the file says; by device, in its order."""
    for entry in fresh.entries:
        theirs = known.get(entry.device.id)
        if theirs is None or entry.open:
            continue
        for key, ours, said in _compared(entry.device, theirs):
            yield f"{theirs.id}: this capture shows {key} {ours}, the file says {said}; left as it is."
    if fresh.match.strings and profile.match.strings:
        for key, texts in fresh.match.strings.items():
            said = profile.match.strings.get(key, ())
            if said and not {one.casefold() for one in texts} & {one.casefold() for one in said}:
                had = " or ".join(map(quoted, said))
                yield f"match: this unit has {key} {quoted(texts[0])}, the file says {had}; left as it is."


def _compared(ours: ExpectedDevice, theirs: ExpectedDevice) -> Iterator[tuple[str, object, object]]:
    if ours.identities and theirs.identities and ours.identities[0] not in theirs.identities:
        yield "identity", ours.identities[0], " or ".join(theirs.identities)
    for key in ("speed_mbps", "lanes", "link_gts"):
        mine, other = getattr(ours, key), getattr(theirs, key)
        if None not in (mine, other) and mine != other:
            yield key, mine, other
    if not ours.reaches.reaches(theirs.reaches):
        yield "reaches", ours.reaches.value, theirs.reaches.value
