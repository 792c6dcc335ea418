"""Reports as values for the tests of their renderers: of the demo's captures, crowded ones, and hostile ones."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

from support.make_readme import ROOT

from usbwatch.capture.saved import load_saved
from usbwatch.cli.weighing import weighed
from usbwatch.model import Fitted, PartKind, Verdict
from usbwatch.profile import find
from usbwatch.show import Seen
from usbwatch.show.report.making import made
from usbwatch.show.report.source import Asked, Source
from usbwatch.show.report.value import (
    Block,
    Cause,
    Changed,
    Device,
    Event,
    Fact,
    Hand,
    Joint,
    Kind,
    Look,
    NextStep,
    Quote,
    Report,
    Ruled,
    SinceRow,
    Suspect,
)  # fmt: skip
from usbwatch.show.report.value import (
    Seen as Bus,
)
from usbwatch.show.verdict import Outcome

__all__ = ["HOSTILE", "crowded", "every_field", "filled", "report_of"]

_Value = TypeVar("_Value")

HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(1)</script>",
    "</style><script>alert(1)</script>",
    "</title></svg></textarea><script>alert(1)</script>",
    '" onmouseover="alert(1)" autofocus onfocus="alert(1)" x="',
    "' onload='alert(1)",
    "}*{display:none!important}@import url(http://127.0.0.1:9/x);",
    "javascript:alert(1)",
    "<svg onload=alert(1)><script>alert(1)</script></svg>",
    "]]><!-- --><![CDATA[",
    "--><script>alert(1)</script><!--",
    "{{7*7}}{% for x in ().__class__ %}{{x}}{% endfor %}${7*7}",
    "&lt;script&gt;alert(1)&lt;/script&gt;&#x0;",
    "\u202eesrever\u2066 \u200b\ufeff",
    "\x00\x1b[2J\x07\x85\x9b\u2028\n\r\t",
    "\ud800 lone \udfff",
    "\ufffe\uffff\U0010ffff",
    "W" * 100_000,
    "a b " * 25_000,
    "\ufdfd" * 40,
    "e" + "\u0301" * 400,
    "漢字" * 60,
    "",
    " ",
    "<!-- usbwatch-report sha256:" + "0" * 64 + " -->",
)
"""What a device, a file or a person may have put into a name."""


def report_of(capture: str, profile: str = "fernhill-larch-13") -> Report:
    """The report of one of the demo's captures."""
    saved = load_saved(str(ROOT / "captures" / f"{capture}.json"))
    localised, _ = weighed([Seen(capture=saved.capture)], find(profile), insisted=True)
    asked = Asked(made_at="2026-03-02T09:30:00Z", local=lambda at: at.replace("T", " "), identify=True)
    return made(Source(localised=localised, digests=(saved.digest,)), asked)


def crowded(blocks: int = 12, devices: int = 60, *, chain: int = 2, name: str = "Invented") -> Report:
    """A unit of so many subassemblies and devices, with every state, suspects of every kind, and names of any length.

    Every ``chain``-th block hangs on the one before it rather than on the root.
    """
    verdicts = list(Verdict)
    homes: list[list[Device]] = [[] for _ in range(blocks)]
    for number in range(devices):
        verdict = verdicts[number % len(verdicts)]
        device = Device(
            id=f"d{number}",
            name=f"{name} {'longer named ' * (number % 4)}device {number}",
            verdict=verdict,
            reasons=("port pci0000:00/14.0/usb2/4.1 is empty; firmware says that something is wired to it",),
            needs=(f"s{number % blocks}",) if number % 3 else (),
        )
        homes[number % blocks].append(device)
    return replace(
        report_of("larch-13-top-case-lost"),
        blocks=tuple(_block(n, tuple(homes[n]), chain, name) for n in range(blocks)),
    )


def _block(number: int, devices: tuple[Device, ...], chain: int, name: str) -> Block:
    toward = "" if number == 0 else f"b{number - 1}" if number > 1 and number % chain == 0 else "b0"
    doubt = 0.3 if number % 5 == 1 else None
    links = tuple(
        Joint(
            id="top-case-flex" if (number, which) == (1, 0) else f"l{number}.{which}",
            name=f"{name} cable {number}.{which} {'to somewhere ' * (number % 3)}",
            kind=PartKind.LINK,
            near=toward,
            far=f"b{number}",
            probability=0.51 if number == 1 else 0.12 if number % 4 == 3 else None,
        )
        for which in range(1 + number % 2)
    )
    inner = Joint(
        id=f"s{number}", name=f"{name} section {number}", kind=PartKind.RAIL if number % 2 else PartKind.SECTION,
        near=f"b{number}", probability=doubt,
    )  # fmt: skip
    return Block(
        id=f"b{number}",
        name=f"{name} subassembly {number}",
        toward=toward,
        links=links if toward else (),
        inner=(inner,),
        devices=devices,
        probability=doubt,
    )


def filled(value: _Value, text: str, *, ids: bool = False) -> _Value:
    """The same value with ``text`` for every string in it; ``ids``: for those that tie things together, too."""
    if not is_dataclass(value) or isinstance(value, type):
        return value
    changes = {
        one.name: _filled(getattr(value, one.name), text, ids=ids)
        for one in fields(value)
        if ids or one.name not in ("id", "near", "far", "toward", "needs", "part")
    }
    return replace(value, **changes)


def _filled(value: object, text: str, *, ids: bool) -> object:
    if isinstance(value, str):
        return text
    if isinstance(value, tuple):
        return tuple(_filled(one, text, ids=ids) for one in value)
    return filled(value, text, ids=ids)


def every_field(kind: Kind = Kind.FAULT) -> Report:
    """A report in which nothing is empty, so that every string of every kind of row is shown."""
    fact = Fact(name="Name", said="said")
    report = crowded(5, 12)
    return replace(
        report,
        kind=kind,
        label="LB-0001",
        outcome=Outcome.WRONG,
        cause=Cause(name="Flex", part="top-case-flex", how="open, 42%", probability=0.51, because=("It does.",)),
        no_cause="",
        next_step=NextStep(words="Open it", takes="18 min", why="It helps.", cautions=("Ground yourself.",)),
        stops=("Stop at a swollen pack.",),
        notices=("Firmware speaks of another unit.",),
        blocks=tuple(replace(block, devices=tuple(map(_told_more, block.devices))) for block in report.blocks),
        unit=(fact,),
        hands=(Hand(question="Does it charge?", answer=None), Hand(question="Does it run?", answer=False)),
        suspects=(
            Suspect(
                part="top-case-flex", name="Flex", probability=0.51, ways=(fact,), explains=("Keyboard",),
                leaves=("Battery",), against=("Hub",), argues_for="This", argues_against="That", mend="replace",
                cautions=("Take care.",),
            ),
        ),
        basis="Elicited.",
        ruled=(Ruled(name="Software", how="seen"),),
        quotes=(Quote(about="Battery", text="status: 31", source="acpi"),),
        since_title="Since the baseline",
        since=tuple(SinceRow(name="Battery", fitted=one, said="serial", block="Pack") for one in Fitted),
        wear=(fact,),
        changed=(Changed(word="new", name="Keyboard", where="usb", said=("a: b → c",), block="Top case"),
                 Changed(word="gone", name="Camera", where="usb")),
        outside=("A mouse: helper",),
        events=(Event(when="2026-03-02 09:20", what="step", said=("swapped", "60 min"), mark="withdrawn"),),
        money=(fact,),
        coverage=(Bus(bus="usb", state="seen", said="3 nodes"), Bus(bus="i2c", state="not there", said="no bus")),
        looks=(Look(taken_at="2026-03-02T09:14:00Z", shown_at="2026-03-02 09:14 UTC", digest="sha256:" + "0" * 64,
                    system="linux", tool="0.1.0"),),
        profile="fernhill-larch-13",
        cautions=("Battery first.",),
    )  # fmt: skip


def _told_more(device: Device) -> Device:
    return replace(device, got="got", would_tell="try", charged_to="Hub")
