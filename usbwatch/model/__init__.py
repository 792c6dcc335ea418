"""The frozen values that every other room speaks in. Imports the standard library alone."""

from usbwatch.model.capture import (
    CAPTURE_SCHEMA,
    Capture,
    Coverage,
    Episode,
    Fact,
    Kind,
    Node,
    System,
    UnitStrings,
)
from usbwatch.model.changes import ChangeKind, Changes, CoverageChange, EpisodeChange, FactChange, NodeChange
from usbwatch.model.findings import Answer, Finding, Findings, Symptom
from usbwatch.model.ladder import CoverageState, Rung, Verdict
from usbwatch.model.location import Location, hangs_on, is_location, outward, parent_port
from usbwatch.model.profile import ExpectedDevice, HandCheck, Match, Money, Part, PartKind, Profile, Variant
from usbwatch.model.suspects import Discriminator, Hypothesis, PartSuspicion, Site, Suspects

__all__ = [
    "CAPTURE_SCHEMA",
    "Answer",
    "Capture",
    "ChangeKind",
    "Changes",
    "Coverage",
    "CoverageChange",
    "CoverageState",
    "Discriminator",
    "Episode",
    "EpisodeChange",
    "ExpectedDevice",
    "Fact",
    "FactChange",
    "Finding",
    "Findings",
    "HandCheck",
    "Hypothesis",
    "Kind",
    "Location",
    "Match",
    "Money",
    "Node",
    "NodeChange",
    "Part",
    "PartKind",
    "PartSuspicion",
    "Profile",
    "Rung",
    "Site",
    "Suspects",
    "Symptom",
    "System",
    "UnitStrings",
    "Variant",
    "Verdict",
    "hangs_on",
    "is_location",
    "outward",
    "parent_port",
]
