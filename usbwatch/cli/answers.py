"""``--answer``: what a hand check showed, as a person says it on the command line."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from usbwatch.model import Answer, Profile

__all__ = [
    "answers",
    "did_you_mean",
    "each",
    "id_of",
    "numbered",
    "parsed_answer",
    "parsed_numbered_answer",
    "parsed_own_answer",
    "refused_step",
]


def each(parse: Callable[[str], object]) -> Callable[[click.Context, click.Parameter, tuple[str, ...]], object]:
    """A click callback that parses every value of a repeatable option."""

    def parsed(context: click.Context, parameter: click.Parameter, values: tuple[str, ...]) -> object:
        try:
            return tuple(parse(value) for value in values)
        except click.BadParameter as error:
            raise click.BadParameter(error.message, context, parameter) from None

    return parsed


def parsed_answer(value: str) -> tuple[str, bool]:
    """``CHECK=yes`` or ``CHECK=no`` as a pair. Raises click's ``BadParameter`` for another form."""
    check, _, word = value.partition("=")
    if not check or word.lower() not in ("yes", "no"):
        raise click.BadParameter(f"'{value}' is not of the form CHECK=yes or CHECK=no.")
    return check, word.lower() == "yes"


def parsed_own_answer(value: str) -> tuple[str, bool]:
    """The same for a check, which looks at one capture at a time: a number before it is refused."""
    number, _ = numbered(value)
    if number:
        raise click.BadParameter(f"'{value}' names a capture by number. {_LOCALISE}")
    return parsed_answer(value)


def refused_step(value: str) -> str:
    """Raises click's ``BadParameter``: a check takes no steps."""
    raise click.BadParameter(f"a check is of one capture, so nothing can be done before it ('{value}'). {_LOCALISE}")


_LOCALISE = "Several captures, and what was done between them, are for: usbwatch localise."


def parsed_numbered_answer(value: str) -> tuple[int, str, bool]:
    """The same, after the number of the capture that it goes with: ``2:CHECK=yes``; 0 where none is given."""
    number, rest = numbered(value)
    return number, *parsed_answer(rest)


_DIGITS = 6


def numbered(value: str) -> tuple[int, str]:
    """The number before the first colon, 0 where there is none, and the rest.

    Raises click's ``BadParameter`` for a number that no capture has.
    """
    number, _, rest = value.partition(":")
    if not rest or not number.strip("+-").replace(".", "", 1).isdigit():
        return 0, value
    if not number.isascii() or not number.isdigit() or len(number) > _DIGITS or int(number) == 0:
        raise click.BadParameter(f"'{value}' begins with '{number}'; captures are counted 1, 2, 3, ….")
    return int(number), rest


def answers(given: Sequence[tuple[str, bool]], profile: Profile, option: str = "--answer") -> tuple[Answer, ...]:
    """The answers about one capture, once each is known to be about a hand check of the profile.

    Of several to one check the last counts; that it came out like the one before it, when it was tried again, is kept.
    """
    from usbwatch.model.findings import with_answer

    known = [one.id for one in profile.checks] + _beside_checks(profile)
    for name, _ in given:
        if name not in known:
            raise click.BadParameter(_no_such_check(name, known, profile), param_hint=f"'{option}'")
    found: tuple[Answer, ...] = ()
    dangers = {one.id for one in profile.checks if one.stop}
    for name, yes in given:
        if name in dangers and any(one.check == name and one.yes != yes for one in found):
            raise click.BadParameter(f"'{name}' is answered with both yes and no.", param_hint=f"'{option}'")
        found = with_answer(found, name, yes=yes)
    return found


def _beside_checks(profile: Profile) -> list[str]:
    """What can be answered beside the hand checks: ``measure:PART`` and ``elsewhere:PART``."""
    from usbwatch.plan import questions

    return [id_ for id_ in questions(profile) if id_.startswith(("measure:", "elsewhere:"))]


def _no_such_check(name: str, known: list[str], profile: Profile) -> str:
    if not profile.checks and ":" not in name:
        return f"profile {profile.id} has no hand checks, so there is no '{name}'."
    return f"profile {profile.id} has no hand check '{name}'. {did_you_mean(name, known)}"


def did_you_mean(name: str, known: Sequence[str]) -> str:
    """The names that are near, or else all of them, as a sentence."""
    import difflib

    near = difflib.get_close_matches(name, known, n=3, cutoff=0.5)
    return f"Did you mean {' or '.join(near)}?" if near else f"It has: {', '.join(known)}."


def id_of(said: str, names: Mapping[str, str]) -> str:
    """The id that is meant by an id or by a name that one id alone has, in any case; else what was said."""
    if said in names:
        return said
    wanted = " ".join(said.split()).casefold()
    fitting = [id_ for id_, name in names.items() if " ".join(name.split()).casefold() == wanted]
    return fitting[0] if len(fitting) == 1 else said
