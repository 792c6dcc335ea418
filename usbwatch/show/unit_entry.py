"""What an entry of a unit's history says: the word for its kind, and a string for each line."""

from __future__ import annotations

from collections.abc import Callable

from usbwatch.model import Money, Profile, StepKind
from usbwatch.model.history import (
    Amended,
    Answered,
    Attached,
    Baselined,
    Captured,
    Closed,
    Entry,
    Intake,
    Noted,
    Opened,
    PartUsed,
    Recorded,
    Reopened,
    StepDone,
)
from usbwatch.plan import questions
from usbwatch.show.safe import safe
from usbwatch.show.words import counted, step_words, sum_of

__all__ = ["amended_words", "cause_names", "entry_words", "told_words"]


def entry_words(fact: Recorded, profile: Profile | None) -> tuple[str, ...]:
    """The word for the fact's kind, and what it says, a string for each line."""
    word, said = _SAID[type(fact)]
    return (word, *said(fact, profile))


def amended_words(amendment: Entry, before: Recorded, profile: Profile | None) -> str:
    """What an amendment did to an entry that said ``before`` until then."""
    fact = amendment.fact
    assert isinstance(fact, Amended)
    reason = f": {safe(fact.reason)}" if fact.reason else ""
    if fact.instead is None:
        return f"withdrawn by entry {amendment.number}{reason}"
    now = _pieces(fact.instead, profile)
    was = "; ".join(piece for piece in _pieces(before, profile) if piece not in now)
    return f"amended by entry {amendment.number}{reason}; it said{f': {was}' if was else ' nothing of that'}"


def _pieces(fact: Recorded, profile: Profile | None) -> list[str]:
    """What a fact says, as far apart as it can be amended."""
    if isinstance(fact, Answered):
        return ["yes" if fact.yes else "NO"]
    if not isinstance(fact, (Opened, Reopened)):
        return list(entry_words(fact, profile)[1:])
    own = [f"label {safe(fact.label, 60)}", _model(fact)] if isinstance(fact, Opened) else []
    return [*own, *_intake(fact.intake), *told_words(fact.intake, _money(profile))]


def told_words(intake: Intake, money: Money) -> list[str]:
    """What is told of a unit besides the faults that are claimed and what came with it."""
    told = [f"paid {sum_of(intake.paid, money)}"] if intake.paid is not None else []
    for name, value in (
        ("liquid got into it", intake.liquid),
        ("dropped", intake.dropped),
        ("opened before", intake.opened_before),
    ):
        told += [f"{name}: {'yes' if value else 'no'}"] if value is not None else []
    return told


def _came_in(fact: Opened, profile: Profile | None) -> tuple[str, ...]:
    return (f"label {safe(fact.label, 60)}, {_model(fact)}", *_came_back(fact, profile))


def _model(fact: Opened) -> str:
    return f"model {safe(fact.model, 60)}" if fact.model else "model not known"


def _came_back(fact: Opened | Reopened, profile: Profile | None) -> tuple[str, ...]:
    return (*_intake(fact.intake), *_lines(told_words(fact.intake, _money(profile))))


def _intake(intake: Intake) -> list[str]:
    came_with = ", ".join(safe(one) for one in intake.came_with)
    return [*(f"claimed: {safe(one)}" for one in intake.claims), *([f"came with {came_with}"] if came_with else [])]


def _capture(fact: Captured, _profile: Profile | None) -> tuple[str, ...]:
    return (safe(fact.judged, 400) or "not judged: no profile was known",)


def _answer(fact: Answered, profile: Profile | None) -> tuple[str, ...]:
    question = questions(profile).get(fact.check, "") if profile else ""
    return (f"{'yes' if fact.yes else 'NO'}: {safe(question, 300) or safe(fact.check, 100)}",)


def _step(fact: StepDone, profile: Profile | None) -> tuple[str, ...]:
    done = step_words(fact.step, profile) if profile else f"{fact.step.kind.value} {safe(fact.step.of, 60)}".rstrip()
    if fact.step.kind is StepKind.FIT:
        done = done.removesuffix(" new")  # what is known of the part stands below
    return (done, *_lines([*_part(fact.part), *_spent(fact.cost, fact.minutes, profile)]), *_lines([safe(fact.result)]))


def _part(part: PartUsed) -> list[str]:
    known = [f"{part.grade.value} part"] if part.grade else []
    return known + ([f"serial {safe(part.serial, 60)}"] if part.serial else [])


def _spent(cost: int | None, minutes: int | None, profile: Profile | None) -> list[str]:
    spent = [f"cost {sum_of(cost, _money(profile))}"] if cost is not None else []
    return spent + ([f"{minutes} min"] if minutes is not None else [])


def _note(fact: Noted, profile: Profile | None) -> tuple[str, ...]:
    return (safe(fact.text, 2000), *_lines(_spent(fact.cost, fact.minutes, profile)))


def _file(fact: Attached, _profile: Profile | None) -> tuple[str, ...]:
    return (f"{safe(fact.name, 200)}, {_size(fact.size)}",)


def _baseline(fact: Baselined, _profile: Profile | None) -> tuple[str, ...]:
    kept = f"kept as the unit's healthy state, with {counted(len(fact.serials), 'serial number')}"
    reason = f"although not all was present and seen: {safe(fact.reason)}" if fact.reason else ""
    serials = [f"{safe(one.of, 60)} {safe(one.serial, 60)}" for one in fact.serials]
    return (kept, *_lines([reason]), *_lines(serials))


def _closing(fact: Closed, profile: Profile | None) -> tuple[str, ...]:
    brought = f", brought {sum_of(fact.brought, _money(profile))}" if fact.brought is not None else ""
    return (f"{fact.ending.value}{brought}", _cause(fact, profile), *_lines([safe(fact.remark)]))


def _cause(fact: Closed, profile: Profile | None) -> str:
    if not fact.cause_known:
        return "cause not known"
    return f"cause: {', '.join(cause_names(fact, profile)) or 'nothing had failed'}"


def cause_names(fact: Closed, profile: Profile | None) -> list[str]:
    """What had failed, in the profile's words; by its id where the profile has none for it."""
    from usbwatch.localise.sites import sites

    names = {site.id: site.name for site in sites(profile)} if profile and fact.causes else {}
    return [safe(names.get(one.site, one.site), 100) for one in fact.causes]


def _amendment(fact: Amended, _profile: Profile | None) -> tuple[str, ...]:
    return (safe(fact.reason),)


def _lines(said: list[str]) -> tuple[str, ...]:
    """One line of what was said, or none."""
    return (", ".join(said),) if any(said) else ()


def _money(profile: Profile | None) -> Money:
    return profile.money if profile else Money()


def _size(size: int) -> str:
    return f"{size / 1024:.0f} KiB" if size >= 1024 else counted(size, "byte")  # noqa: PLR2004 - a KiB


_SAID: dict[type[Recorded], tuple[str, Callable[..., tuple[str, ...]]]] = {
    Opened: ("came in", _came_in),
    Reopened: ("came back", _came_back),
    Captured: ("capture", _capture),
    Answered: ("answer", _answer),
    StepDone: ("step", _step),
    Noted: ("note", _note),
    Attached: ("file", _file),
    Baselined: ("baseline", _baseline),
    Closed: ("closed", _closing),
    Amended: ("amended", _amendment),
}
"""By kind of fact, the word for it and what it says."""
