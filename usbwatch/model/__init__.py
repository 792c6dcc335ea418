"""The frozen values that every other room speaks in. Imports the standard library alone."""

from usbwatch.model.capture import (
    CAPTURE_SCHEMA,
    Blacklisted,
    Capture,
    Coverage,
    Episode,
    Fact,
    Kind,
    Node,
    Software,
    System,
    UnitStrings,
)
from usbwatch.model.changes import ChangeKind, Changes, CoverageChange, EpisodeChange, FactChange, NodeChange
from usbwatch.model.findings import Answer, Claim, Declaration, DeclaredState, Finding, Findings, Symptom
from usbwatch.model.functions import FUNCTIONS
from usbwatch.model.ladder import CoverageState, Rung, Verdict
from usbwatch.model.location import Location, hangs_on, is_location, outward, parent_port, port_chain, same_port_chain
from usbwatch.model.observation import Deed, Observation, Response
from usbwatch.model.profile import ExpectedDevice, HandCheck, Match, Money, Part, PartKind, Profile, Variant
from usbwatch.model.suspects import Discriminator, Hypothesis, PartSuspicion, Site, Suspects

__all__ = [
    "CAPTURE_SCHEMA",
    "FUNCTIONS",
    "Answer",
    "Blacklisted",
    "Capture",
    "ChangeKind",
    "Changes",
    "Claim",
    "Coverage",
    "CoverageChange",
    "CoverageState",
    "Declaration",
    "DeclaredState",
    "Deed",
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
    "Observation",
    "Part",
    "PartKind",
    "PartSuspicion",
    "Profile",
    "Response",
    "Rung",
    "Site",
    "Software",
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
    "port_chain",
    "same_port_chain",
]
