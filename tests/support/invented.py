"""The invented Fernhill Larch 13 as model values: a profile, captures, findings, suspects. Nothing here is real."""

from __future__ import annotations

from dataclasses import replace

from usbwatch.model import (
    Action,
    Advice,
    Answer,
    Capture,
    Coverage,
    CoverageState,
    Cure,
    CureKind,
    CureSuspicion,
    Episode,
    ExpectedDevice,
    Finding,
    Findings,
    HandCheck,
    Hypothesis,
    Kind,
    Match,
    Money,
    Node,
    Outcome,
    Part,
    PartKind,
    PartSuspicion,
    Plan,
    Profile,
    Proposal,
    Rung,
    Site,
    Suspects,
    Symptom,
    System,
    UnitStrings,
    Variant,
    Verdict,
)
from usbwatch.plan.cautions import BATTERY_FIRST
from usbwatch.show.checked import Checked

XHCI = "pci0000:00/14.0/usb2"

_SUB, _LINK, _SECTION, _RAIL = PartKind.SUBASSEMBLY, PartKind.LINK, PartKind.SECTION, PartKind.RAIL

PARTS = (
    Part(id="top-case", kind=_SUB, name="Top case", cost=68, minutes=40),
    Part(id="display", kind=_SUB, name="Display assembly", cost=140, minutes=30),
    Part(id="battery-pack", kind=_SUB, name="Battery pack", cost=45, minutes=10),
    Part(id="mainboard", kind=_SUB, name="Mainboard", cost=260, minutes=75),
    Part(id="top-case-flex", kind=_LINK, name="Top-case flex", joins=("top-case", "mainboard"), cost=9, minutes=15),
    Part(id="display-cable", kind=_LINK, name="Display cable", joins=("display", "mainboard"), cost=22, minutes=25),
    Part(id="battery-plug", kind=_LINK, name="Battery connector", joins=("battery-pack", "mainboard"), minutes=5),
    Part(id="top-case-board", kind=_SECTION, name="Top-case board", within="top-case"),
    Part(id="usb-section", kind=_SECTION, name="USB section", within="mainboard"),
    Part(id="top-case-rail", kind=_RAIL, name="Top-case 3.3 V rail", within="mainboard"),
)

_FLEX = ("top-case-rail", "top-case-flex")
_DEVICES: tuple[tuple[str, str, str, str, str, tuple[str, ...]], ...] = (
    ("hub", "Top-case hub", "hub", "top-case", f"{XHCI}/4", _FLEX),
    ("keyboard", "Keyboard", "keyboard", "top-case", f"{XHCI}/4.1", (*_FLEX, "hub")),
    ("touchpad", "Touchpad", "touchpad", "top-case", f"{XHCI}/4.2", (*_FLEX, "hub")),
    ("fingerprint", "Fingerprint reader", "fingerprint-reader", "top-case", f"{XHCI}/4.3", (*_FLEX, "hub")),
    ("smart-card", "Smart card reader", "smart-card-reader", "top-case", f"{XHCI}/4.4", (*_FLEX, "hub")),
    ("camera", "Camera", "camera", "display", f"{XHCI}/5", ("display-cable",)),
    ("panel", "Panel", "panel", "display", "pci0000:00/02.0/drm/eDP-1", ("display-cable",)),
    ("lid", "Lid switch", "lid", "display", "acpi/_SB_.LID0", ()),
    ("battery", "Battery gauge", "battery", "battery-pack", "acpi/_SB_.BAT0", ("battery-plug",)),
    ("bluetooth", "Bluetooth", "bluetooth", "mainboard", f"{XHCI}/6", ("usb-section",)),
    ("card-reader", "Card reader", "card-reader", "mainboard", f"{XHCI}/8", ("usb-section",)),
    ("usb-audio", "USB audio", "audio", "mainboard", f"{XHCI}/9", ("usb-section",)),
    ("mains", "Mains adapter", "mains-adapter", "mainboard", "acpi/_SB_.AC0_", ()),
    ("power-button", "Power button", "power-button", "mainboard", "acpi/_SB_.PWRB", ()),
    ("disk", "Disk", "disk", "mainboard", "pci0000:00/06.0", ()),
    ("audio", "HD audio", "audio", "mainboard", "pci0000:00/1b.0", ()),
    ("ethernet", "Ethernet", "ethernet", "mainboard", "pci0000:00/19.0", ()),
    ("graphics", "Graphics", "graphics", "mainboard", "pci0000:00/02.0", ()),
    ("xhci", "USB controller", "usb-controller", "mainboard", "pci0000:00/14.0", ("usb-section",)),
)
_IDENTITIES = {
    "keyboard": "1209:0001",
    "touchpad": "1209:0002",
    "camera": "1209:0003",
    "bluetooth": "1209:0004",
    "fingerprint": "1209:0005",
}

PROFILE = Profile(
    id="fernhill-larch-13",
    name="Fernhill Larch 13",
    source="invented for the demo; no such model exists",
    match=Match(strings={"sys_vendor": ("Fernhill",), "product_name": ("Larch 13",)}),
    variants=(
        Variant(
            id="no-reader",
            name="without fingerprint reader",
            match=Match(strings={"product_sku": ("L13-B",)}),
            without=("fingerprint",),
        ),
    ),
    parts=PARTS,
    devices=tuple(
        ExpectedDevice(
            id=name,
            name=title,
            function=function,
            within=within,
            locations=(location,),
            identities=(_IDENTITIES[name],) if name in _IDENTITIES else (),
            needs=needs,
            reaches=Rung.CONFIGURED if name in ("fingerprint", "smart-card") else Rung.WORKING,
            speed_mbps=480 if name == "camera" else None,
        )
        for name, title, function, within, location, needs in _DEVICES
    ),
    checks=(
        HandCheck(id="caps-light", question="Does the caps lock light come on?", needs=_FLEX),
        HandCheck(
            id="battery-alone",
            question="Does it run on battery alone?",
            needs=("battery-plug",),
            caution="Have the unit's data saved before the charger is pulled.",
            minutes=3,
        ),
    ),
    money=Money(currency="EUR", value_working=420, value_as_is=90, hourly_rate=48),
)

UNIT = UnitStrings(sys_vendor="Fernhill", product_name="Larch 13", product_serial="LG-0001-DEMO", chassis_type="10")

COVERAGE = (
    Coverage(bus="acpi", state=CoverageState.OK, nodes=25),
    Coverage(bus="i2c", state=CoverageState.NOT_PERMITTED, why="the kernel refused to list it", root_would_help=True),
    Coverage(bus="pci", state=CoverageState.OK, nodes=12),
    Coverage(bus="serio", state=CoverageState.EMPTY),
    Coverage(bus="spi", state=CoverageState.NOT_THERE),
    Coverage(bus="usb", state=CoverageState.OK, nodes=31, unread=2),
)


def node(device: str, **changed: object) -> Node:
    """The node that a healthy unit shows for one expected device of the profile."""
    expected = next(one for one in PROFILE.devices if one.id == device)
    location = expected.locations[0]
    made = Node(
        bus="usb" if location.startswith(XHCI) else location.partition("/")[0].rstrip("0123456789:"),
        location=location,
        kind=Kind.DEVICE,
        rung=expected.reaches,
        identity=expected.identities[0] if expected.identities else "",
        name=f"Larch {expected.name}",
        functions=(expected.function,),
        driver="hid-generic" if expected.function == "keyboard" else "",
    )
    return replace(made, **changed)  # type: ignore[arg-type]


MOUSE = Node(
    bus="usb",
    location=f"{XHCI}/2",
    kind=Kind.DEVICE,
    rung=Rung.WORKING,
    identity="1209:0007",
    name="Plover bench mouse",
    functions=("mouse", "pointing-device"),
)
MODEM = replace(MOUSE, location=f"{XHCI}/7", identity="1209:0009", name="Heron modem", functions=("wwan",))


def capture(**changed: object) -> Capture:
    """A capture of a healthy unit, with what is to be different in it."""
    made = Capture(
        taken_at="2026-11-24T14:05:00Z",
        tool="0.1.0",
        system=System(platform="linux", kernel="6.1.0", source="tree"),
        unit=UNIT,
        coverage=COVERAGE,
        nodes=tuple(sorted((node(one.id) for one in PROFILE.devices), key=lambda one: (one.location, one.bus))),
        episodes=(Episode(location=f"{XHCI}/4", trouble="enumeration failed", count=3, errno=-71),),
    )
    return replace(made, **changed)  # type: ignore[arg-type]


def finding(device: str, verdict: Verdict = Verdict.PRESENT, **changed: object) -> Finding:
    """The finding that a verdict usually comes with."""
    symptom, rung, reasons = {
        Verdict.PRESENT: (Symptom.WORKING, Rung.WORKING, ("a driver holds it and its function is there",)),
        Verdict.MISSING: (Symptom.ABSENT, Rung.ABSENT, ("nothing at its port, and every port of that hub was read",)),
        Verdict.IMPAIRED: (Symptom.FAILED, Rung.ATTACHED, ("enumeration failed 3 times, last with error -71",)),
        Verdict.UNSEEN: (Symptom.UNSEEN, Rung.ABSENT, ("its bus could not be read",)),
        Verdict.SUBSTITUTED: (Symptom.WORKING, Rung.WORKING, ("1209:0008 sits where 1209:0001 is expected",)),
        Verdict.MOVED: (Symptom.WORKING, Rung.WORKING, ("found at port 7, expected at port 6",)),
    }[verdict]
    made = Finding(device=device, verdict=verdict, rung=rung, symptom=symptom, reasons=reasons)
    return replace(made, **changed)  # type: ignore[arg-type]


def findings(*special: Finding, **changed: object) -> Findings:
    """Findings that say *present* of every device but the special ones."""
    by_device = {one.device: one for one in special}
    made = Findings(
        profile=PROFILE.id,
        findings=tuple(by_device.get(one.id) or finding(one.id) for one in PROFILE.devices),
    )
    return replace(made, **changed)  # type: ignore[arg-type]


def site(name: str, words: str, part: str, prior: float = 0.02) -> Site:
    """A fault site whose prior is invented."""
    return Site(id=name, name=words, part=part, prior=prior, origin="invented")


def suspicion(part: str, probability: float, *sites: tuple[Site, float], **changed: object) -> PartSuspicion:
    """How strongly one part is suspected."""
    made = PartSuspicion(part=part, probability=probability, sites=sites, explains=(), leaves=(), against=())
    return replace(made, **changed)  # type: ignore[arg-type]


def outcome(words: str, probability: float, part: str, chance: float, cost: float, **changed: object) -> Outcome:
    """One way in which a proposal can turn out."""
    made = Outcome(words=words, probability=probability, points_to=part, chance=chance, expected_cost=cost)
    return replace(made, **changed)  # type: ignore[arg-type]


BACKLIGHT = "The backlight supply can injure: no work on an open display while it is powered."

NO_SUSPECTS = Suspects(depth=2, left_out=0.0, hypotheses=(), parts=(), nothing_wrong=0.97, unexplained=())

LOST = ("hub", "keyboard", "touchpad", "fingerprint", "smart-card")
RESEAT = Cure(kind=CureKind.RESEAT, of="top-case-flex")
NEW_CABLE = Cure(kind=CureKind.REPLACE, of="display-cable")
FLEX_OPEN = replace(site("link:top-case-flex", "open or unseated", "top-case-flex"), cure=RESEAT)
WORN_PAIR = replace(site("link:display-cable", "worn pair", "display-cable", 0.008), cure=NEW_CABLE)

TOP_CASE_LOST = Checked(
    capture=capture(nodes=tuple(one for one in capture().nodes if not one.location.startswith(f"{XHCI}/4"))),
    profile=PROFILE,
    findings=findings(
        finding("hub", Verdict.MISSING),
        *(
            finding(one, Verdict.UNSEEN, charged_to="hub", reasons=())
            for one in ("keyboard", "touchpad", "fingerprint", "smart-card")
        ),
        finding("camera", Verdict.IMPAIRED, rung=Rung.WORKING, symptom=Symptom.DEGRADED, reasons=("12 of 480 Mbit/s",)),
        finding("panel", Verdict.UNSEEN, would_tell="capture with the graphics driver loaded"),
        answers=(Answer(check="battery-alone", yes=True),),
        external=(MOUSE,),
        unexpected=(MODEM,),
        notices=("This capture is of a copied tree; what was not copied was not seen.",),
    ),
    suspects=Suspects(
        depth=2,
        left_out=0.016,
        hypotheses=(
            Hypothesis(sites=(FLEX_OPEN,), probability=0.58, explains=("hub",), leaves=("camera",), against=()),
            Hypothesis(
                sites=(FLEX_OPEN, WORN_PAIR),
                probability=0.07,
                explains=("hub", "camera"),
                leaves=(),
                against=("panel",),
            ),
        ),
        parts=(
            suspicion(
                "top-case-flex",
                0.712,
                (FLEX_OPEN, 0.712),
                explains=("hub",),
                leaves=("camera",),
                most_for="hub",
                most_against="battery-alone",
            ),
            suspicion(
                "top-case",
                0.17,
                (site("section:top-case-board", "its board dead", "top-case-board"), 0.12),
                (site("dead:hub", "hub itself", "top-case"), 0.05),
                explains=("hub",),
                leaves=("camera",),
            ),
            suspicion(
                "display-cable",
                0.09,
                (WORN_PAIR, 0.09),
                explains=("camera",),
                leaves=("hub",),
                against=("panel",),
            ),
            suspicion(
                "top-case-rail", 0.041, (site("rail", "off", "top-case-rail"), 0.041), explains=("hub",), against=()
            ),
            suspicion("", 0.012, (site("software:hub", "hub driver", ""), 0.012), explains=("hub",)),
            suspicion("mainboard", 0.004, (site("section:usb", "one port dead", "usb-section"), 0.004)),
        ),
        nothing_wrong=0.001,
        unexplained=(),
        cures=(
            CureSuspicion(cure=RESEAT, probability=0.7, alone=0.58),
            CureSuspicion(cure=NEW_CABLE, probability=0.09, alone=0.001),
        ),
    ),
    plan=Plan(
        advice=Advice.GO_ON,
        expected_cost=61.4,
        given_up=330,
        proposals=(
            Proposal(
                action=Action.RESEAT,
                of="top-case-flex",
                words="Open Top-case flex, look at both ends, seat it again, and capture again",
                cost=14.4,
                minutes=18,
                expected_total=61.4,
                information_bits=0.9,
                outcomes=(
                    outcome("all of it is well", 0.57, "?", 0.99, 0, mended=True),
                    outcome("nothing changes", 0.38, "top-case", 0.41, 121.7),
                    outcome("Top-case hub well", 0.05, "display-cable", 0.93, 44),
                ),
                cautions=(BATTERY_FIRST,),
                why="It makes the unit well in 57 of 100 cases like this. If nothing changes, that points to Top case.",
            ),
            Proposal(
                action=Action.CHECK,
                of="caps-light",
                words="Does the caps lock light come on?",
                cost=0.8,
                minutes=1,
                expected_total=66,
                information_bits=0.81,
                outcomes=(
                    outcome("no", 0.7, "top-case-flex", 0.88, 52),
                    outcome("yes", 0.3, "top-case", 0.62, 95),
                ),
            ),
            Proposal(
                action=Action.LOOK,
                of="panel",
                words="Panel: does it work? capture with the graphics driver loaded",
                cost=0.8,
                minutes=1,
                expected_total=70,
                information_bits=0.06,
                outcomes=(
                    outcome("yes", 0.93, "top-case-flex", 0.71, 68),
                    outcome("no", 0.07, "display-cable", 0.97, 90),
                ),
            ),
            Proposal(
                action=Action.SWAP,
                of="display",
                words="Fit the known-good Display assembly on trial, and capture again",
                cost=24,
                minutes=30,
                expected_total=88.6,
                information_bits=0.3,
                outcomes=(outcome("nothing changes", 0.97, "top-case-flex", 0.71, 60, stops=True),),
                cautions=(BATTERY_FIRST, BACKLIGHT),
            ),
        ),
        assumed=(
            "No cost is given for Battery connector: 10 was put in.",
            "No hourly rate is given: 30 was put in.",
        ),
    ),
)

WHOLE = Checked(capture=capture(), profile=PROFILE, findings=findings(), suspects=NO_SUSPECTS)
