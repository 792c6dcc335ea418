"""The pages of ``usbwatch handcheck``: what is asked in large, plain words, and what came of it by subassembly."""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.compare.by_hand import WORDS
from usbwatch.model import Deed, ExpectedDevice, Observation, Profile, Response
from usbwatch.show.cautions import CHARGER_OUT
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.lines import BLANK, Line, Style, line, rule
from usbwatch.show.safe import safe
from usbwatch.show.ticket import MARGIN, mark, perforation, stamp, stub_heading
from usbwatch.show.words import counted, listed

__all__ = ["HandResult", "ask_view", "handcheck_document", "handcheck_view", "stray_sentence"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandResult:
    """What came of one thing that was to be asked of one expected device."""

    device: ExpectedDevice
    deed: Deed
    observation: Observation | None = None
    """None where it was not asked."""
    why_not: str = ""


_PLEAS = {
    Deed.PRESS: "Press a few keys on the unit's own keyboard",
    Deed.MOVE: "Move a finger over the unit's touchpad",
    Deed.CLICK: "Click with the unit's touchpad",
    Deed.TOUCH: "Draw a line on the unit's screen with a finger",
    Deed.CLOSE: "Close the lid, count to three, open it again",
    Deed.PULL: "Pull the charger out of the unit",
    Deed.PLUG: "Plug the charger into the unit",
}
_PLEAS_OF = {
    ("pointing-device", Deed.MOVE): "Move a finger over the unit's touchpad, or push its pointing stick",
    ("pointing-device", Deed.CLICK): "Click with the unit's touchpad or pointing stick",
    ("pointing-stick", Deed.MOVE): "Push the unit's pointing stick about",
    ("pointing-stick", Deed.CLICK): "Press a button of the unit's pointing stick",
    ("mouse", Deed.MOVE): "Move the pointer with the unit's own pointing device",
    ("mouse", Deed.CLICK): "Click with the unit's own pointing device",
}
"""What is asked for, where the function changes the words."""

_CAUTIONS = {
    Deed.PULL: CHARGER_OUT,
    Deed.CLOSE: "The unit may fall asleep: wake it and go on; its answer is kept.",
}


def ask_view(function: str, deed: Deed, patience_s: int, width: int, *, speaks: bool) -> list[Line]:
    """What one ask shows; ``speaks``: whether the person has a terminal to say a word on."""
    plea = _PLEAS_OF.get((function, deed), _PLEAS[deed])
    words = "Done, and nothing happens here? Press Enter. Cannot be done? Type n, then Enter. " if speaks else ""
    words += f"Goes on by itself after {patience_s} s."
    caution = [line(("! ", Style.CAUTION), _CAUTIONS[deed], hang=2)] if deed in _CAUTIONS else []
    return [BLANK, *caution, *stamp(plea.upper(), "→", Style.STAMP_UNSEEN, width, words)]


def stray_sentence(deed: Deed, names: tuple[str, ...]) -> str:
    """What is said when another node than the part's own told of the deed."""
    shown = listed([safe(name, 60) for name in names])
    where = "on the unit's own keyboard" if deed is Deed.PRESS else "on the unit itself"
    return f"That was {shown}, which is not the part asked for. Once more, {where}."


_SHOWN = {
    Response.ANSWERED: ("✓", "answered", Style.FINE),
    Response.SILENT: ("✗", "SILENT", Style.WRONG),
    Response.NOT_DONE: ("?", "not done", Style.UNSEEN),
}
_NOT_ASKED = ("·", "not asked", Style.FAINT)


def handcheck_view(results: tuple[HandResult, ...], profile: Profile, path: str, width: int) -> list[Line]:
    """The result, in the subassemblies that carry the devices; ``path`` is the file it went into, "" for none."""
    lines = [*stamp(*_verdict(results), width)]
    for stub in stubs(profile):
        ids = {device.id for device in stub.devices}
        inside = [one for one in results if one.device.id in ids]
        if inside:
            lines += [BLANK, perforation(stub, width), *_stub_lines(stub, inside, width)]
    kept = f"kept in {safe(path)}" if path else "nothing was established, so no file was written"
    return [*lines, BLANK, rule("┄", width), line((kept, Style.FAINT), hang=2)]


def _verdict(results: tuple[HandResult, ...]) -> tuple[str, str, Style]:
    if not results:
        return "nothing that a hand can move is there", "?", Style.STAMP_UNSEEN
    told = [one.observation.response for one in results if one.observation is not None]
    silent, answered = told.count(Response.SILENT), told.count(Response.ANSWERED)
    open_ = len(results) - silent - answered
    clauses = [f"{answered} of {counted(len(results), 'hand check')} answered"]
    clauses += [f"{silent} silent"] if silent else []
    clauses += [f"{open_} not established"] if open_ else []
    if silent:
        return "; ".join(clauses), "✗", Style.STAMP_WRONG
    return "; ".join(clauses), *(("?", Style.STAMP_UNSEEN) if open_ else ("✓", Style.STAMP_FINE))


def _stub_lines(stub: Stub, inside: list[HandResult], width: int) -> list[Line]:
    answered = sum(one.observation is not None and one.observation.response is Response.ANSWERED for one in inside)
    lines = stub_heading(stub, f"{answered} of {len(inside)} answered", width, Style.STRONG)
    for one in inside:
        opening = _SHOWN[one.observation.response] if one.observation else _NOT_ASKED
        lines.append(
            line(mark(*opening), (safe(one.device.name, 60), Style.STRONG), f": {WORDS[one.deed][0]}", hang=MARGIN)
        )
        lines += [line(" " * MARGIN, told, hang=MARGIN) for told in _told(one)]
    return lines


def _told(one: HandResult) -> list[str]:
    seen = one.observation
    if seen is None:
        return [safe(one.why_not)]
    elsewhere = [f"also told of by {safe(place, 120)}, which is not this part" for place in seen.elsewhere[:3]]
    if seen.response is not Response.ANSWERED:
        heard = safe(listed(seen.watched), 200)
        return [f"it was done, and nothing came of {heard}"] * (seen.response is Response.SILENT) + elsewhere
    name = safe(seen.name, 60) or "a node without a name"
    return [f"{name} at {safe(seen.location, 120)}", f"after {seen.after_ms / 1000:.1f} s, {_counts(seen)}", *elsewhere]


def _counts(seen: Observation) -> str:
    """How many events, and of which kind; never which key."""
    kinds = [f"{counted(number, word)}" for number, word in ((seen.letters, "letter"), (seen.modifiers, "modifier"))]
    shown = [kind for kind in kinds if not kind.startswith("0 ")]
    return counted(seen.events, "event") + (f" ({', '.join(shown)})" if shown else "")


def handcheck_document(results: tuple[HandResult, ...], profile: Profile, path: str) -> dict[str, Json]:
    """The result as ``usbwatch-handcheck``."""
    checks: list[Json] = [
        {
            "device": plain_value(one.device.id),
            "function": plain_value(one.device.function),
            "deed": one.deed.value,
            "observation": plain_value(one.observation),
            "not_asked": plain_value(one.why_not),
        }
        for one in results
    ]
    return {
        "format": "usbwatch-handcheck",
        "schema": 1,
        "profile": plain_value(profile.id),
        "capture": plain_value(path),
        "checks": checks,
    }
