"""A stick that a unit starts from: built of the distribution's packages, whatever is on the unit's disk."""
