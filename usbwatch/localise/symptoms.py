"""What each kind of fault looks like: the tables of probabilities.

A row says what an observation shows when one fault acts on its path. The
*working* entry is the chance that the fault lets it work all the same, so
that the next fault along the path decides; the row *works* holds when none
acts, and is the leak: what a healthy unit shows by a cause outside the model.

Two rules of the trade stand behind the numbers, which are elicited and have
no source: working is near proof, missing is not, so the chance of "working"
under a dead part is far below that of "absent" under a healthy one; and an
outcome is never impossible, so that later evidence can always win.
"""

from __future__ import annotations

from enum import Enum

from usbwatch.model.findings import Symptom

__all__ = [
    "BATTERY_MUTE_SHARE",
    "MISTAKEN_AGAIN",
    "MISTAKEN_DANGER",
    "MOVED_APART",
    "ROWS",
    "SOFTWARE_UNTOLD",
    "UNTOLD_ELSEWHERE",
    "WATCHED_ROWS",
    "WRONGLY_NO",
    "Effect",
    "row",
]


class Effect(Enum):
    """How a fault stands to the observation that it spoils."""

    WORKS = "no fault"
    OPEN = "a link on the way that is unseated"
    BROKEN = "a link on the way that is torn"
    LOOSE = "a link on the way that is away just then"
    SECTION = "a board section on the way"
    RAIL = "its supply"
    WHOLE = "its subassembly as a whole"
    CARRIER_SOFTWARE = "software of a device that it hangs on"
    CARRIER_DEAD = "a device that it hangs on, such as its hub"
    SOFTWARE = "its own software"
    HUNG = "its own firmware, or its driver, hung"
    DEAD = "its own electronics"
    SOLE_DEAD = "the electronics of the only device in the subassembly that a hand check is about"
    POOR = "the work it does, which hand checks are about"
    POOR_ITSELF = "its keys or its surface, behind electronics that answer"
    DANGER = "the danger that a hand check looks for"
    UNKNOWN = "what the profile does not know"


_COLUMNS = (
    Symptom.WORKING,
    Symptom.ABSENT,
    Symptom.FAILED,
    Symptom.DEGRADED,
    Symptom.MUTE,
    Symptom.UNDRIVEN,
)

# fmt: off
_TABLE = {
    #                         working  absent  failed  degraded  mute    undriven
    # A slip of this one capture; what lasts is the row of the unknown.
    Effect.WORKS:            (0.99993, 2e-5,   1e-5,   1e-5,     1e-5,   2e-5),
    # A link that is half seated leaves some lines whole, a torn one more of them.
    Effect.OPEN:             (0.05,    0.805,  0.08,   0.06,     0.0025, 0.0025),
    Effect.BROKEN:           (0.25,    0.625,  0.07,   0.05,     0.0025, 0.0025),
    Effect.LOOSE:            (0.30,    0.50,   0.12,   0.07,     0.005,  0.005),
    Effect.SECTION:          (0.01,    0.90,   0.06,   0.02,     0.005,  0.005),
    Effect.RAIL:             (0.01,    0.86,   0.08,   0.04,     0.005,  0.005),
    # Liquid spares some devices.
    Effect.WHOLE:            (0.10,    0.73,   0.10,   0.05,     0.01,   0.01),
    Effect.CARRIER_SOFTWARE: (0.02,    0.93,   0.02,   0.01,     0.005,  0.015),
    Effect.CARRIER_DEAD:     (0.00004, 0.975,  0.015,  0.005,    0.002,  0.00296),
    # Disabled in firmware or blocked: absent. No driver: undriven.
    Effect.SOFTWARE:         (0.02,    0.25,   0.005,  0.005,    0.02,   0.70),
    Effect.HUNG:             (0.02,    0.45,   0.35,   0.05,     0.08,   0.05),
    Effect.DEAD:             (0.00004, 0.82,   0.13,   0.03,     0.005,  0.01496),
    # A gauge can die in a pack that still gives power; mostly the pack is dead with it.
    Effect.SOLE_DEAD:        (0.40,    0.59,   0.0025, 0.0025,   0.0025, 0.0025),
    Effect.POOR:             (0.05,    0.94,   0.0025, 0.0025,   0.0025, 0.0025),
    # A capture alone does not show it; a person who tries the device does: no event comes of it, or not of all of it.
    Effect.POOR_ITSELF:      (0.88,    0.005,  0.0025, 0.03,     0.08,   0.0025),
    Effect.DANGER:           (0.05,    0.94,   0.0025, 0.0025,   0.0025, 0.0025),
    Effect.UNKNOWN:          (0.05,    0.35,   0.09,   0.09,     0.17,   0.25),
}
# fmt: on

ROWS: dict[Effect, dict[Symptom, float]] = {
    effect: dict(zip(_COLUMNS, chances, strict=True)) for effect, chances in _TABLE.items()
}
"""Probability of each symptom under each effect; a row adds to 1. A hand check's "yes" is *working*."""


# fmt: off
_AT_TIMES = {
    #                         of working  of all that is wrong
    # Somebody takes it off and on, and nobody marks it.
    Effect.WORKS:            (0.00003,    0.02),
    # A contact that is bad for good shows as steady. One that comes and goes is loose, whatever made it so.
    Effect.OPEN:             (0.30,       0.10),
    Effect.BROKEN:           (0.30,       0.14),
    Effect.LOOSE:            (0.55,       0.75),
    # A cracked joint.
    Effect.SECTION:          (0.30,       0.06),
    # One that sags under load.
    Effect.RAIL:             (0.30,       0.09),
    Effect.WHOLE:            (0.20,       0.06),
    Effect.CARRIER_SOFTWARE: (0.05,       0.02),
    Effect.CARRIER_DEAD:     (0.30,       0.05),
    Effect.SOFTWARE:         (0.05,       0.01),
    # Firmware that restarts again and again.
    Effect.HUNG:             (0.30,       0.10),
    Effect.DEAD:             (0.30,       0.04),
    # These are of hand checks, which nobody watches.
    Effect.SOLE_DEAD:        (0.01,       0.01),
    Effect.POOR:             (0.01,       0.01),
    Effect.DANGER:           (0.01,       0.01),
    Effect.POOR_ITSELF:      (0.002,      0.04),
    Effect.UNKNOWN:          (0.10,       0.08),
}
# fmt: on
"""How much of what a fault would else show, working or wrong, shows as coming and going where it is watched.

Elicited, no source, like all figures here.
"""


def _watched(effect: Effect, chances: dict[Symptom, float]) -> dict[Symptom, float]:
    """A row where the device was watched: a part of every other outcome goes to coming and going."""
    of_working, of_wrong = _AT_TIMES[effect]
    kept = {
        each: chance * (1 - (of_working if each is Symptom.WORKING else of_wrong)) for each, chance in chances.items()
    }
    return kept | {Symptom.INTERMITTENT: 1 - sum(kept.values())}


WATCHED_ROWS: dict[Effect, dict[Symptom, float]] = {effect: _watched(effect, ROWS[effect]) for effect in Effect}
"""The same in a look in which the device was watched for a while, and could be seen to leave; a row adds to 1."""

MOVED_APART = 0.1
"""How often what one fault makes come and go leaves at other moments than the rest that it reaches.

Elicited, no source. A link that loses contact loses it for most of its lines at
once; but a single line of it can be bad, and a supply that sags takes the
weakest first.
"""

WRONGLY_NO = 0.012
"""How often a hand check comes out as "no" for a cause outside the profile: a wrong cable, a mistaken look."""

MISTAKEN_AGAIN = 0.02
"""How often a person whose "no" was such a mistake makes it a second time, on trying once more."""

MISTAKEN_DANGER = 0.001
"""The same of a check with a ``stop``: what is dangerous is plain to see, and nobody says so lightly."""

SOFTWARE_UNTOLD = {
    "": 0.002,
    "bluetooth": 0.3,
    "camera": 0.3,
    "fingerprint-reader": 0.3,
    "touchpad": 0.1,
    "wlan": 0.3,
    "wwan": 0.3,
}
"""How often a device on USB that software keeps away leaves no trace of that in a capture, by function.

A port sees a device whether or not there is a driver for it, so that a
missing driver does not make it absent. What firmware set-up can switch off
may be absent without a word; "" stands for all that it mostly cannot.
"""

UNTOLD_ELSEWHERE = 0.1
"""The same of a device with a known place on another bus, at the least.

There too a capture looks for what software could be: a controller without its
driver, an object that firmware has disabled, a word to the kernel. Each of
them makes the device unseen, or is told with the finding. But firmware set-up
can take a PCI or I2C device away whole.
"""

BATTERY_MUTE_SHARE = 0.4
"""Of the cases in which another device would be absent, how many show a battery that is there but silent.

Firmware answers for the battery and may go on saying "present" with nothing behind it.
"""


_WORN_ELSEWHERE = 0.01


def row(effect: Effect, function: str, *, watched: bool = False) -> dict[Symptom, float]:
    """Probability of each symptom of a device with this function ("" for a hand check).

    ``watched``: in a look in which it was watched. In any other no device can be seen to come and go.
    """
    chances = _unwatched(effect, function)
    return _watched(effect, chances) if watched else chances


def _unwatched(effect: Effect, function: str) -> dict[Symptom, float]:
    chances = ROWS[effect]
    if function != "battery" or effect in (Effect.WORKS, Effect.UNKNOWN):
        return chances
    silent = BATTERY_MUTE_SHARE * chances[Symptom.ABSENT]
    # What wears or misleads a gauge is in the pack: nothing on the way to it makes a battery worn.
    worn = chances[Symptom.DEGRADED] * (1 if effect in (Effect.DEAD, Effect.POOR) else _WORN_ELSEWHERE)
    return chances | {
        Symptom.ABSENT: chances[Symptom.ABSENT] - silent + chances[Symptom.DEGRADED] - worn,
        Symptom.MUTE: chances[Symptom.MUTE] + silent,
        Symptom.DEGRADED: worn,
    }
