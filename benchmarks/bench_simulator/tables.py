"""How the simulator's units fail: its own figures, in its own form.

The matched world has the values that the engine believes in, typed in again:
what is then measured is the reasoning, not the guesses. The other worlds
depart from them. Nothing is imported from the engine, so a slip in either
copy shows as a lack of calibration.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

__all__ = ["OUTCOMES", "SAID", "SHAPES", "World", "matched", "shifted", "wrong_priors"]

OUTCOMES = ("works", "absent", "failed", "degraded", "mute", "undriven")

SAID = "absent, and software is not ruled out"
"""What a device on USB that is absent shows in a capture that leaves open whether software keeps it away."""

_PRIOR = {
    "open": 12e-3,
    "torn": 5e-3,
    "loose": 4e-3,
    "section": 6e-3,
    "rail": 4e-3,
    "soaked": 4e-3,
    "software": 4e-3,
    "dead": 10e-3,
    "poor": 18e-3,
    "strange": 1.1e-3,
}
_PRIOR_OF_FUNCTION = {
    "dead battery": 30e-3,
    "dead disk": 15e-3,
    "dead graphics": 4e-3,
    "dead hub": 5e-3,
    "dead keyboard": 20e-3,
    "dead lid": 4e-3,
    "dead mains-adapter": 4e-3,
    "dead panel": 15e-3,
    "dead storage": 15e-3,
    "dead touchscreen": 15e-3,
    "dead usb-controller": 2e-3,
    "software battery": 1e-3,
    "software bluetooth": 20e-3,
    "software camera": 15e-3,
    "software fingerprint-reader": 15e-3,
    "software hub": 1e-3,
    "software lid": 1e-3,
    "software mains-adapter": 1e-3,
    "software power-button": 1e-3,
    "software usb-controller": 1e-3,
    "software wlan": 20e-3,
    "software wwan": 20e-3,
    "hung battery": 4e-3,
    "hung bluetooth": 5e-3,
    "hung camera": 3e-3,
    "hung fingerprint-reader": 3e-3,
    "hung hub": 1e-3,
    "hung keyboard": 1e-3,
    "hung touchpad": 4e-3,
    "hung touchscreen": 4e-3,
    "hung usb-controller": 1e-3,
    "hung wlan": 4e-3,
}

SHAPES: dict[str, tuple[float, ...]] = {
    #                     works  absent  failed  degraded  mute  undriven, in hundredths of a per cent
    "none": (9999.3, 0.2, 0.1, 0.1, 0.1, 0.2),
    "open": (500, 8050, 800, 600, 25, 25),
    "torn": (2500, 6250, 700, 500, 25, 25),
    "loose": (3000, 5000, 1200, 700, 50, 50),
    "section": (100, 9000, 600, 200, 50, 50),
    "rail": (100, 8600, 800, 400, 50, 50),
    "soaked": (1000, 7300, 1000, 500, 100, 100),
    "software": (200, 2500, 50, 50, 200, 7000),
    "software of a carrier": (200, 9300, 200, 100, 50, 150),
    "hung": (200, 4500, 3500, 500, 800, 500),
    "dead": (0.4, 8200, 1300, 300, 50, 149.6),
    "dead carrier": (0.4, 9750, 150, 50, 20, 29.6),
    "dead, only one in it": (4000, 5900, 25, 25, 25, 25),
    "poor": (500, 9400, 25, 25, 25, 25),
    "poor itself": (8800, 50, 25, 300, 800, 25),
    "strange": (500, 3500, 900, 900, 1700, 2500),
}


_NO_TRACE = {
    "bluetooth": 0.3,
    "camera": 0.3,
    "fingerprint-reader": 0.3,
    "touchpad": 0.1,
    "wlan": 0.3,
    "wwan": 0.3,
}
_NO_TRACE_ELSE = 0.002
"""Of devices on USB that software keeps away, how many leave no trace of it where a capture can show one.

The rest do, and that is followed up before anything else: such units are not drawn (see ``unit.draw``).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """Everything by which units fail, show it, and are mended."""

    name: str
    prior: dict[str, float]
    """By kind, or by kind and function with a space between."""
    shapes: dict[str, tuple[float, ...]]
    prior_wrong_by: float = 1.0
    """Every mode of failure is that much likelier or less likely than ``prior`` says, by a coin of the model."""
    battery_stays_listed: float = 0.4
    """Of a battery that is cut off, how often firmware goes on listing it, silent."""
    contact_away: float = 0.6
    contact_away_flexed: float = 0.9
    bad_bought: float = 0.02
    wrong_part_changed: float = 0.002
    still_unseated: float = 0.1
    still_loose: float = 0.6
    unseated_by_work: float = 0.004
    torn_by_work: float = 0.002
    loosened_by_work: float = 0.001
    reload_fails: float = 0.05
    reload_leaves_hung: float = 0.3
    drain_fails: float = 0.05
    wrongly_no: float = 0.012
    well_turns: float = 0.03
    """How often a lasting fault that had spared a device shows afresh, after a step that bears on it."""
    wrong_turns: float = 0.04
    """The same of a fault that had hit it."""
    meter_misleads: float = 0.02
    helper_works_anyway: float = 0.5
    """How often a helper device works where software keeps the unit's own one of that function away."""
    helper_fails: float = 0.05
    """How often one does not that nothing keeps away."""
    liquid: float = 0.0
    """How often liquid got in: a handful of modes of one subassembly and its links at once."""
    software_left_open: float = 0.15
    """How often the capture cannot show whether software keeps a device away, such as one made from a bare list."""

    def prior_of(self, kind: str, function: str = "") -> float | None:
        """Probability that a site of this kind fails; None where there is no such site."""
        return self.prior.get(f"{kind} {function}", self.prior.get(kind))

    def leaves_no_trace(self, function: str) -> float:
        """Of devices on USB that are absent by software, how many are so without a word."""
        return _NO_TRACE.get(function, _NO_TRACE_ELSE)

    def chances(self, shape: str, function: str) -> tuple[float, ...]:
        """Probability of each of ``OUTCOMES``."""
        works, absent, failed, degraded, mute, undriven = (each / 10_000 for each in self.shapes[shape])
        if function == "battery" and shape not in ("none", "strange"):
            listed = absent * self.battery_stays_listed
            misled = 0.0 if shape in ("dead", "poor", "poor itself") else degraded * 0.99
            absent, mute, degraded = absent - listed + misled, mute + listed, degraded - misled
        return works, absent, failed, degraded, mute, undriven


def matched() -> World:
    """The world as the engine believes it to be."""
    return World(name="matched", prior=_PRIOR | _PRIOR_OF_FUNCTION, shapes=SHAPES)


def wrong_priors() -> World:
    """Each prior wrong by a factor of three, up or down."""
    return replace(matched(), name="priors wrong by 3", prior_wrong_by=3.0)


def shifted(seed: int) -> World:
    """Priors wrong by kind, other symptoms, worse parts, clumsier hands, and liquid."""
    coin = random.Random(seed)
    factor = {kind: 3.0 if coin.random() < 0.5 else 1 / 3 for kind in (*_PRIOR, "hung")}  # noqa: PLR2004
    prior = {key: min(0.2, chance * factor[key.split()[0]]) for key, chance in (_PRIOR | _PRIOR_OF_FUNCTION).items()}
    return replace(
        matched(),
        name="shifted",
        prior=prior,
        shapes={shape: _blurred(row, coin) if shape != "none" else row for shape, row in SHAPES.items()},
        battery_stays_listed=0.6,
        contact_away=0.45,
        bad_bought=0.06,
        still_unseated=0.2,
        unseated_by_work=0.012,
        torn_by_work=0.006,
        wrongly_no=0.03,
        well_turns=0.08,
        wrong_turns=0.12,
        meter_misleads=0.05,
        helper_works_anyway=0.7,
        helper_fails=0.1,
        liquid=0.06,
    )


def _blurred(row: tuple[float, ...], coin: random.Random) -> tuple[float, ...]:
    """Each outcome up to twice likelier or less likely, and 2 % of the whole spread evenly."""
    moved = [chance * 2 ** coin.uniform(-1, 1) for chance in row]
    whole = sum(moved)
    return tuple(0.98 * 10_000 * each / whole + 0.02 * 10_000 / len(row) for each in moved)
