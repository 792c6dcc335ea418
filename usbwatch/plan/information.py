"""What an outcome tells, in bits: for explaining, never for choosing.

A joint distribution has a row per outcome of an observation and a column per
thing to be told apart. What does not add to 1 is taken as if scaled to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from usbwatch.plan.foresight import Branch

if TYPE_CHECKING:
    from usbwatch.plan.standing import Indices, Numbers

__all__ = ["entropy_bits", "expected_entropy_bits", "information_bits", "mutual_information_bits"]


def entropy_bits(chances: Numbers) -> float:
    """Entropy (Shannon 1948) of one distribution, in bits."""
    return _entropy_mass(chances) / float(chances.sum())


def expected_entropy_bits(joint: Numbers) -> float:
    """Entropy that is left, in bits, once the outcome is known: the mean over the outcomes.

    The scheme of de Kleer & Williams 1987 for choosing the next probe.
    """
    return (_entropy_mass(joint) - _entropy_mass(joint.sum(axis=1))) / float(joint.sum())


def _entropy_mass(masses: Numbers) -> float:
    """Entropy times the whole mass."""
    import numpy as np

    kept = masses[masses > 0]
    return float(-(kept * np.log2(kept / kept.sum())).sum())


def mutual_information_bits(joint: Numbers) -> float:
    """By how much knowing the outcome is expected to lower the entropy, in bits; never below 0."""
    return max(0.0, entropy_bits(joint.sum(axis=0)) - expected_entropy_bits(joint))


def information_bits(found: Sequence[Branch], cells: Indices) -> float:
    """Mutual information of the outcome and of which parts are at fault now, before the step.

    ``cells`` numbers, per fault set of the standing, the set of parts that it takes.
    """
    import numpy as np

    if not found:
        return 0.0
    count = int(cells.max()) + 1
    outcome = np.repeat(np.arange(len(found)), [len(branch.origins) for branch in found])
    place = outcome * count + cells[np.concatenate([branch.origins for branch in found])]
    joint = np.bincount(place, np.concatenate([branch.chances for branch in found]), len(found) * count).astype(
        np.float64
    )
    return mutual_information_bits(joint.reshape(len(found), count))
