"""From how a shop's closed cases ended to how likely each failure is in the next unit.

Each class of sites, such as all keyboards that can die, has a Beta
distribution: it starts at the elicited value, and counts what failed in closed
cases of other models. Each site of a model has its own: it starts at what its
class came to, times the profile's weight, and counts the closed cases of this
model. A Beta distribution of mean m that weighs as much as s units, after n
units of which y failed, has the mean (s m + y) / (s + n) (A. Gelman and others,
"Bayesian Data Analysis", 3rd ed. 2013, section 2.4; from memory).

A closed case with a known cause is a unit that had something wrong, and a
prior is for any unit that comes to the bench. So a case counts for as many
units as it takes, by the starting values, to have one with a fault
(``units_per_case``): else even right values would rise with every case. How
many units have a fault at all is thereby not learnt, only which fault it is.

What the profile does not know of keeps its prior. No case of known cause can
end in it, so counting would take it away just where most cases are, and with
it the caution that one loss never proves a part.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import prod

from usbwatch.localise.kinds import SiteKind, starting_value
from usbwatch.localise.ways import Way, fitted, ways
from usbwatch.model.cases import Experience, Grounds, Tally
from usbwatch.model.profile import Profile

__all__ = [
    "CLASS_STRENGTH",
    "MOST_UNITS",
    "SITE_STRENGTH",
    "classes_of",
    "grounds",
    "grounds_of",
    "learnt",
    "site_class",
    "units_per_case",
]

CLASS_STRENGTH = 3.0
"""Of a class's starting value: it weighs as much as that many failures seen, in as many sites as it expects them in.

Elicited, no source. In plain words: before any case, the value is right within
a factor of about three (a factor spread evenly, on a logarithmic scale, from a
third to three has a variance of 0.37 times its squared mean, and a Beta
distribution of a rare event has that with 2.7 failures). So a starting value
of 0.012 weighs as much as 250 units, which are 147 closed cases where it takes
1.7 units to have one with a fault; at 0.03 it is 100 units, 59 cases.
"""

SITE_STRENGTH = 3.0
"""The same of what a class came to, as the start of one site of one model.

Elicited, no source: that a model differs from others by as much as the
elicited values may be wrong. With weak ones a few cases decide, and the first
cases of a model are mostly chance.
"""

MOST_UNITS = 1000.0
"""No starting value weighs more than so many units: one that is very small may be wrong by more than a factor.

So a known defect of a model is learnt, whatever its profile or the tables say.
"""

_LEAST, _MOST = 1e-6, 0.5

_LEAST_FAULTY = 0.1
"""A profile that names hardly any failure says little of how many units have one: a case is ten units at most."""


def site_class(kind: SiteKind, function: str = "") -> str:
    """The class of a site: its kind, and the function of the device where it is one of a device.

    Devices of one function fail alike in all models: what kills keyboards kills
    those of other models too. Links, sections, supplies and subassemblies have
    no function, and each kind is one class, as are all dangers; what works badly
    is "poor:keyboard" for a device and "poor" for a part.

    >>> site_class(SiteKind.DEAD, "keyboard"), site_class(SiteKind.OPEN)
    ('dead:keyboard', 'open')
    """
    return f"{kind.value}:{function}" if function else kind.value


def classes_of(profile: Profile, variant: str = "") -> dict[str, str]:
    """By site id, the class of every site that a closed case of this variant can name as a cause.

    What the profile does not know is none: a case of which the cause is known cannot have ended in it.
    """
    return {way.site: site_class(way.kind, way.function) for way in _known(ways(fitted(profile, variant)))}


def grounds(profile: Profile, variant: str = "", experience: Experience | None = None) -> dict[str, Grounds]:
    """By site id, what the prior of every site of this variant rests on."""
    return grounds_of(ways(fitted(profile, variant)), experience or Experience())


def grounds_of(every: Iterable[Way], experience: Experience) -> dict[str, Grounds]:
    """The same for all the ways in which a unit can fail."""
    every = tuple(every)
    units = units_per_case(every)
    return {way.site: _grounds(way, experience, units) for way in every}


def units_per_case(every: Iterable[Way]) -> float:
    """How many units come to the bench for one in which something known has failed, by the starting values."""
    healthy = prod(1 - _bounded(_starting(way) * way.weight) for way in _known(every))
    return 1 / max(_LEAST_FAULTY, 1 - healthy)


def _grounds(way: Way, experience: Experience, units: float) -> Grounds:
    class_ = site_class(way.kind, way.function)
    starting = _starting(way)
    own, others = _counts(way, class_, experience)
    of_class = _updated(starting, CLASS_STRENGTH, others, units)
    prior = _bounded(_updated(_bounded(of_class * way.weight), SITE_STRENGTH, own, units))
    return Grounds(
        site=way.site,
        of_class=class_,
        starting=starting,
        weight=way.weight,
        prior=prior,
        own=own,
        others=others,
        other_cases=experience.cases if others.exposed else 0,
    )


def _counts(way: Way, class_: str, experience: Experience) -> tuple[Tally, Tally]:
    if way.kind is SiteKind.UNKNOWN:
        return Tally(), Tally()
    return _sound(experience.own_tally(way.site)), _sound(experience.classes.get(class_, Tally()))


def _sound(tally: Tally) -> Tally:
    """The same within what can be: never more failed than there were."""
    exposed = max(0, tally.exposed)
    return Tally(failed=min(max(0, tally.failed), exposed), exposed=exposed)


def learnt(start: float, weighs: float, failed: float, units: float) -> float:
    """The mean of a Beta distribution that began at ``start`` with a weight in units, after ``failed`` of ``units``."""
    return (weighs * start + failed) / (weighs + units)


def _updated(start: float, failures: float, counted: Tally, units: float) -> float:
    """The same from cases, each of so many units, and a start that weighs as much as so many failures."""
    if not counted.exposed:
        return start  # not by way of the formula: without a case every prior is what it was, to the last bit
    return learnt(start, min(failures / start, MOST_UNITS), counted.failed, counted.exposed * units)


def _starting(way: Way) -> float:
    return starting_value(way.kind, way.function)


def _bounded(chance: float) -> float:
    return min(_MOST, max(_LEAST, chance))


def _known(every: Iterable[Way]) -> Iterable[Way]:
    return (way for way in every if way.kind is not SiteKind.UNKNOWN)
