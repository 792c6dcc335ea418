"""What a shop's closed cases come to: the counts behind the priors, and how its units fared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from usbwatch.casebook.outcomes import sites_of
from usbwatch.casebook.packing import content_of
from usbwatch.casebook.store import Store
from usbwatch.errors import BadBook
from usbwatch.model import Experience, Tally

__all__ = ["EndingCount", "Fared", "experience", "fared", "models"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EndingCount:
    """How the units of a model left in one way."""

    ending: str
    """``repaired``, ``sold as is``, …"""
    cases: int
    priced: int
    """Of those, cases of which it is known what the unit brought."""
    brought: int
    """What those brought together, in whole units of the shop's currency."""
    spent: int
    """What was spent on those, without bench time."""
    minutes: int
    """Bench time on those."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fared:
    """How the units of one model fared in this shop."""

    on_the_bench: int
    endings: tuple[EndingCount, ...]
    """The most frequent first."""
    known: int
    """Closed cases with a known cause."""
    causes: tuple[tuple[str, int], ...]
    """Of those, in how many each site was a cause; the most frequent first."""


def experience(store: Store, model: str) -> Experience:
    """The counts for one model: its own closed cases with known cause, and those of all others.

    Raises ``BadBook`` where a list of sites is damaged.
    """
    cases, own = 0, 0
    exposed: Counter[str] = Counter()
    exposed_here: Counter[str] = Counter()
    for document, is_own, count in store.rows(
        "SELECT sites, model = ?, count(*) FROM outcome WHERE sites IS NOT NULL GROUP BY 1, 2", model
    ):
        classes = _sites(store, document)
        if is_own:
            own += count
            exposed_here.update(dict.fromkeys(classes, count))
        else:
            cases += count
            for site_class, sites in Counter(classes.values()).items():
                exposed[site_class] += sites * count
    failed: dict[str, int] = dict(
        store.rows(
            "SELECT cause.site_class, count(*) FROM cause JOIN outcome"
            " ON outcome.unit = cause.unit AND outcome.number = cause.number"
            " WHERE outcome.sites IS NOT NULL AND outcome.model <> ? GROUP BY cause.site_class",
            model,
        )
    )
    return Experience(
        cases=cases,
        classes={name: Tally(failed=failed.get(name, 0), exposed=number) for name, number in exposed.items()},
        own=own,
        sites=dict(_causes(store, model)),
        exposed=dict(exposed_here) if own else None,
    )


def _sites(store: Store, document: int) -> Mapping[str, str]:
    """By site id, its class: all that could have failed in some closed case."""
    try:
        ((digest,),) = store.rows("SELECT digest FROM document WHERE key = ?", document)
        return sites_of(content_of(store, bytes(digest)))
    except ValueError:
        problem = f"is damaged: document {document} is no list of sites"
        raise BadBook(store.name, problem, "put a copy of it back") from None


def _known(store: Store, model: str) -> int:
    ((count,),) = store.rows("SELECT count(*) FROM outcome WHERE sites IS NOT NULL AND model = ?", model)
    return int(count)


def _causes(store: Store, model: str) -> list[tuple[str, int]]:
    rows = store.rows(
        "SELECT cause.site, count(*) FROM cause JOIN outcome"
        " ON outcome.unit = cause.unit AND outcome.number = cause.number"
        " WHERE outcome.sites IS NOT NULL AND outcome.model = ? GROUP BY cause.site ORDER BY count(*) DESC, cause.site",
        model,
    )
    return [(site, int(count)) for site, count in rows]


def fared(store: Store, model: str) -> Fared:
    """How the units of one model fared, by the shop's own records."""
    rows = store.rows(
        "SELECT ending, count(*), count(brought), coalesce(sum(brought), 0),"
        " coalesce(sum(CASE WHEN brought IS NOT NULL THEN spent END), 0),"
        " coalesce(sum(CASE WHEN brought IS NOT NULL THEN minutes END), 0)"
        " FROM outcome WHERE model = ? GROUP BY ending ORDER BY count(*) DESC, ending",
        model,
    )
    ((waiting,),) = store.rows("SELECT count(*) FROM unit WHERE model = ? AND ending IS NULL", model)
    return Fared(
        on_the_bench=int(waiting),
        endings=tuple(
            EndingCount(
                ending=ending,
                cases=int(cases),
                priced=int(priced),
                brought=int(brought),
                spent=int(spent),
                minutes=int(minutes),
            )
            for ending, cases, priced, brought, spent, minutes in rows
        ),
        known=_known(store, model),
        causes=tuple(_causes(store, model)),
    )


def models(store: Store) -> tuple[tuple[str, int, int], ...]:
    """The models that units have: id, closed cases, and units on the bench; by id."""
    closed: dict[str, int] = dict(store.rows("SELECT model, count(*) FROM outcome GROUP BY model"))
    waiting: dict[str, int] = dict(store.rows("SELECT model, count(*) FROM unit WHERE ending IS NULL GROUP BY model"))
    return tuple(
        (name, int(closed.get(name, 0)), int(waiting.get(name, 0))) for name in sorted({*closed, *waiting}) if name
    )
