"""Two invented units as profiles, wired as laptops are, and findings about them. Nothing here is real.

The Heron has its keyboard, touchpad and the data lines of its battery gauge on
one flex; the Larch has a hub on the mainboard, with four devices behind it.
"""

from __future__ import annotations

from collections.abc import Iterable

from usbwatch.model import (
    Answer,
    ExpectedDevice,
    Finding,
    Findings,
    HandCheck,
    Part,
    PartKind,
    Profile,
    Rung,
    Symptom,
    Verdict,
)

__all__ = ["HERON", "LARCH", "bench_sized", "device", "found", "part"]

_VERDICTS = {
    Symptom.WORKING: (Verdict.PRESENT, Rung.WORKING),
    Symptom.ABSENT: (Verdict.MISSING, Rung.ABSENT),
    Symptom.FAILED: (Verdict.IMPAIRED, Rung.ATTACHED),
    Symptom.DEGRADED: (Verdict.IMPAIRED, Rung.WORKING),
    Symptom.MUTE: (Verdict.IMPAIRED, Rung.BOUND),
    Symptom.UNDRIVEN: (Verdict.IMPAIRED, Rung.CONFIGURED),
    Symptom.INTERMITTENT: (Verdict.IMPAIRED, Rung.WORKING),
    Symptom.UNSEEN: (Verdict.UNSEEN, Rung.ABSENT),
}


def part(id_: str, kind: PartKind = PartKind.SUBASSEMBLY, within: str = "", weight: float = 1.0) -> Part:
    """A part whose name is its id in words."""
    return Part(id=id_, kind=kind, name=id_.replace("-", " "), within=within, weight=weight)


def device(
    id_: str, function: str, within: str, *needs: str, optional: bool = False, weight: float = 1.0
) -> ExpectedDevice:
    """An expected device whose name is its id in words."""
    return ExpectedDevice(
        id=id_,
        name=id_.replace("-", " "),
        function=function,
        within=within,
        needs=needs,
        optional=optional,
        weight=weight,
    )


def found(
    profile: Profile,
    *,
    absent: Iterable[str] = (),
    unseen: Iterable[str] = (),
    charged: dict[str, str] | None = None,
    answers: dict[str, bool] | None = None,
    **others: Symptom,
) -> Findings:
    """Findings that say *working* of every device but those named (``_`` for ``-`` in ``others``)."""
    hidden = charged or {}
    symptoms = {each.id: Symptom.WORKING for each in profile.devices}
    symptoms |= dict.fromkeys(absent, Symptom.ABSENT) | dict.fromkeys((*unseen, *hidden), Symptom.UNSEEN)
    symptoms |= {id_.replace("_", "-"): symptom for id_, symptom in others.items()}
    return Findings(
        profile=profile.id,
        findings=tuple(
            Finding(
                device=id_,
                verdict=_VERDICTS[symptom][0],
                rung=_VERDICTS[symptom][1],
                symptom=symptom,
                reasons=(),
                charged_to=hidden.get(id_, ""),
            )
            for id_, symptom in symptoms.items()
        ),
        answers=tuple(Answer(check=check, yes=yes) for check, yes in (answers or {}).items()),
    )


_SHARED = (
    part("mainboard"),
    part("top-case"),
    part("display"),
    part("battery-pack"),
    part("usb-section", PartKind.SECTION, "mainboard"),
    part("power-section", PartKind.SECTION, "mainboard"),
    part("top-case-rail", PartKind.RAIL, "mainboard"),
    part("top-case-flex", PartKind.LINK),
    part("display-cable", PartKind.LINK),
    part("battery-plug", PartKind.LINK),
)
_FLEX = ("usb-section", "top-case-rail", "top-case-flex")

HERON = Profile(
    id="brackwell-heron-14",
    name="Brackwell Heron 14",
    source="invented",
    parts=_SHARED,
    devices=(
        device("keyboard", "keyboard", "top-case", *_FLEX),
        device("touchpad", "touchpad", "top-case", *_FLEX),
        device("gauge", "battery", "battery-pack", "power-section", "top-case-flex", "battery-plug"),
        device("camera", "camera", "display", "usb-section", "display-cable"),
        device("panel", "panel", "display", "display-cable"),
        device("ethernet", "ethernet", "mainboard"),
    ),
    checks=(
        HandCheck(
            id="power-button",
            question="Does the power button work?",
            needs=("power-section", "top-case-flex", "top-case"),
        ),
        HandCheck(id="keys", question="Does every key type?", needs=("keyboard",), minutes=2),
        HandCheck(id="steady-picture", question="Is the picture steady as the lid moves?", needs=("panel",)),
        HandCheck(
            id="on-battery",
            question="Does it run on battery alone?",
            needs=("power-section", "gauge"),
            caution="Stop at a swollen pack.",
            minutes=3,
        ),
    ),
)

LARCH = Profile(
    id="fernhill-larch-13",
    name="Fernhill Larch 13",
    source="invented",
    parts=_SHARED,
    devices=(
        device("hub", "hub", "mainboard", "usb-section"),
        device("keyboard", "keyboard", "top-case", "hub", "top-case-rail", "top-case-flex"),
        device("touchpad", "touchpad", "top-case", "hub", "top-case-rail", "top-case-flex"),
        device("fingerprint", "fingerprint-reader", "top-case", "hub", "top-case-rail", "top-case-flex"),
        device("camera", "camera", "display", "hub", "display-cable"),
        device("card-reader", "card-reader", "mainboard", "usb-section"),
        device("panel", "panel", "display", "display-cable"),
        device("gauge", "battery", "battery-pack", "power-section", "battery-plug"),
    ),
)


def bench_sized(devices: int = 34, boards: int = 8) -> Profile:
    """An invented unit at the upper end: 60 parts, over 110 sites, 40 observations with six hand checks."""
    parts = [part("mainboard"), *(part(f"board-{n}") for n in range(boards))]
    parts += [part(f"section-{n}", PartKind.SECTION, "mainboard") for n in range(20)]
    parts += [part(f"link-{n}", PartKind.LINK) for n in range(boards)]
    parts += [part(f"rail-{n}", PartKind.RAIL, "mainboard") for n in range(60 - len(parts))]
    wired = tuple(
        device(
            f"device-{n}",
            ("keyboard", "battery", "camera", "audio")[n % 4],
            f"board-{n % boards}",
            f"section-{n % 20}",
            f"rail-{n % 23}",
            f"link-{n % boards}",
            *([f"device-{n - 8}"] if n % 3 == 0 and n >= 8 else []),
        )
        for n in range(devices)
    )
    checks = tuple(HandCheck(id=f"check-{n}", question=f"Check {n}?", needs=(f"device-{n}",)) for n in range(6))
    return Profile(
        id="plover", name="Ostrey Plover 12", source="invented", parts=tuple(parts), devices=wired, checks=checks
    )
