"""What had failed, as a person says it when a unit is closed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from usbwatch.cli.answers import did_you_mean, id_of

if TYPE_CHECKING:
    from usbwatch.casebook import Book, Paper, Story
    from usbwatch.model import Profile
    from usbwatch.model.history import Cause, Closed

__all__ = ["NOTHING", "UNKNOWN", "with_causes"]

NOTHING, UNKNOWN = "nothing", "unknown"


def with_causes(
    closed: Closed, said: Sequence[str], told: Story, book: Book, option: str = "--cause"
) -> tuple[Closed, tuple[Paper, ...]]:
    """The closing with these causes, and the list of all that could have failed, which is kept with it.

    ``said`` are ids of ways to fail, parts or devices; ``nothing``; or
    ``unknown``, as if none were given. Raises click's ``BadParameter``.
    """
    from usbwatch.casebook.packing import digest_text

    bare = replace(closed, cause_known=False, causes=(), sites="")
    if not said or list(said) == [UNKNOWN]:
        return bare, ()
    if NOTHING in said and len(said) > 1:
        raise click.BadParameter(f"{NOTHING} stands alone.", param_hint=f"'{option}'")
    profile, variant = _profile_and_variant(told, book)
    classes = _classes(profile, variant)
    causes = () if list(said) == [NOTHING] else tuple(_cause(one, classes, profile, option) for one in said)
    paper = _paper(classes)
    whole = replace(bare, model=profile.id, cause_known=True, causes=causes, sites=digest_text(paper.raw_digest))
    return whole, (paper,)


def _profile_and_variant(told: Story, book: Book) -> tuple[Profile, str]:
    from usbwatch.casebook import looks
    from usbwatch.cli.unit.recorded import profile_of
    from usbwatch.compare import findings

    profile = profile_of(told, book)
    digest = next((one.capture for one in reversed(looks(told)) if one.capture), "")
    return profile, findings(book.saved_capture(digest).capture, profile).variant if digest else ""


def _classes(profile: Profile, variant: str) -> dict[str, str]:
    from usbwatch.localise.rates import classes_of

    return classes_of(profile, variant)


def _cause(said: str, classes: dict[str, str], profile: Profile, option: str) -> Cause:
    from usbwatch.model.history import Cause

    names = {part.id: part.name for part in profile.parts} | {device.id: device.name for device in profile.devices}
    said = id_of(said, names)
    if said in classes:
        return Cause(site=said, site_class=classes[said])
    ways = [site for site in classes if site.partition(":")[2] == said]
    if len(ways) == 1:
        return Cause(site=ways[0], site_class=classes[ways[0]])
    if ways:
        told = "; ".join(f"{way} ({words})" for way, words in _in_words(ways, profile))
        raise click.BadParameter(f"'{said}' can fail in several ways; say which: {told}.", param_hint=f"'{option}'")
    known = [*classes, *dict.fromkeys(site.partition(":")[2] for site in classes), NOTHING, UNKNOWN]
    raise click.BadParameter(
        f"profile {profile.id} knows of no '{said}' that could fail. {did_you_mean(said, known)}",
        param_hint=f"'{option}'",
    )


def _in_words(ways: Sequence[str], profile: Profile) -> list[tuple[str, str]]:
    from usbwatch.localise.sites import sites

    names = {site.id: site.name for site in sites(profile)}
    return [(way, names.get(way, way)) for way in ways]


def _paper(classes: dict[str, str]) -> Paper:
    from usbwatch.capture.document import canonical
    from usbwatch.casebook import Paper

    return Paper(kind="sites", content=canonical(dict(classes)))
