"""What redaction replaces, what it leaves alone, and the rules that hold for any text."""

from __future__ import annotations

import re
import string
import uuid
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from support.canaries import planted

from usbwatch.capture.saved import load
from usbwatch.casebook import story
from usbwatch.compare import changes
from usbwatch.compare.serials import is_serial
from usbwatch.model import Capture, Episode, FactChange, Kind, Node, Rung
from usbwatch.model.history import (
    Amended,
    Attached,
    Baselined,
    Closed,
    Ending,
    Entry,
    Grade,
    Intake,
    Noted,
    Opened,
    PartSerial,
    PartUsed,
    Recorded,
    StepDone,
)
from usbwatch.model.steps import Step, StepKind
from usbwatch.show.report.privacy import private_comparison
from usbwatch.show.report.rebuilding import Rebuilt, Walk, strings_of
from usbwatch.show.report.secret_fields import LEFT_OUT, is_number
from usbwatch.show.report.secret_patterns import spots
from usbwatch.show.report.source import Compared
from usbwatch.show.report.sweeping import Sweep
from usbwatch.show.report.tokens import Secret, SecretKind, Tokens, is_token

_HEALTHY = load(str(Path(__file__).parents[3] / "captures" / "larch-13-healthy.json"))


def _compared(before: Capture, after: Capture | None = None) -> Compared:
    after = before if after is None else after
    return Compared(before=before, after=after, digests=("", ""), changes=changes(before, after))


def _private(capture: Capture) -> Capture:
    return private_comparison(_compared(capture)).after


def _with(*nodes: Node, lines: tuple[str, ...] = (), serial: str = "") -> Capture:
    unit = replace(_HEALTHY.unit, product_serial=serial or _HEALTHY.unit.product_serial)
    episodes = (Episode(location="", trouble="other", count=len(lines), lines=lines),) if lines else ()
    return replace(_HEALTHY, unit=unit, nodes=(*_HEALTHY.nodes, *nodes), episodes=episodes)


def _usb(name: str, serial: str | int = "") -> Node:
    facts = {"serial": serial} if serial else {}
    return Node(bus="usb", location="usb2/1", kind=Kind.DEVICE, rung=Rung.WORKING, name=name, facts=facts)


def _name(capture: Capture) -> str:
    return capture.nodes[-1].name


def _swept(text: str, *secrets: Secret) -> str:
    tokens = Tokens()
    for secret in secrets:
        tokens.of(secret)
    return Sweep(tokens, [])(text)


def _serial(text: str) -> Secret:
    return Secret(SecretKind.SERIAL, text)


@pytest.mark.parametrize(
    "text",
    [
        "1209:0001",
        "0000:00:14.0",
        "pci0000:00/14.0/usb2/4.1.2.3",
        "usb 1-4.1.2.3: device descriptor read/64, error -71",
        "usb 1-4: New USB device strings: Mfr=1, Product=2, SerialNumber=3",
        "hub 1-0:1.0: 12 ports detected",
        "acpi/_SB_.PCI0.I2C1.TPD0",
        "hid-generic 0003:1209:0001.0002: input,hidraw0: USB HID v1.11 Keyboard",
        "firmware version 10.2.0.4",
        "FL1.07",
        "2026-03-02T09:14:00Z",
        "captured 2026-03-02 09:14 UTC",
        "sha256:" + "5a" * 32,
        "serial8250: ttyS0 at I/O 0x3f8 (irq = 4, base_baud = 115200) is a 16550A",
        "serial port 1, serial 8250: too much work",
        "serial numbers are for root alone",
        "serial-1, address-2 and host-3",
        "i2c@fe804000, battery@0 and getty@tty1.service",
        "8.0 GT/s PCIe",
        "input: Larch Touchpad as /devices/pci0000:00/0000:00:14.0/usb1/1-4/1-4.2/1-4.2:1.0/input/input5",
        "00:00:00:00:00:00 and ff:ff:ff:ff:ff:ff",
        "sudo: no tty present",
        "2 of 5 present; the volume of the speaker",
    ],
)
def test_what_identifies_nothing_stays_as_it_is(text: str) -> None:
    """Lines as a kernel prints them (drivers/usb/core/hub.c, drivers/hid, drivers/tty/serial/8250), from memory."""
    assert list(spots(text)) == []
    assert _name(_private(_with(_usb(text)))) == text


@pytest.mark.parametrize("serial", ["1", "A", "0000", "12", "To be filled by O.E.M.", "0000:00:14.0", "N/A", "USB"])
def test_a_short_or_empty_serial_number_blanks_nothing_else(serial: str) -> None:
    capture = _private(_with(_usb("Dock 1 A 12 USB of 2", serial), lines=("usb 1-1: A USB 12 of 0000",), serial=serial))
    assert _name(capture) == "Dock 1 A 12 USB of 2"
    assert capture.episodes[0].lines == ("usb 1-1: A USB 12 of 0000",)


def test_a_serial_number_that_is_a_word_of_the_profile_is_replaced_in_its_own_field_alone() -> None:
    capture = _private(_with(_usb("Larch Keyboard 13", "Larch 13")))
    assert (_name(capture), is_token(str(capture.nodes[-1].facts["serial"]))) == ("Larch Keyboard 13", True)


def test_a_number_as_fact_is_replaced_too() -> None:
    assert is_token(str(_private(_with(_usb("Dock", 20931774))).nodes[-1].facts["serial"]))


def test_fields_hold_tokens_by_what_they_are() -> None:
    capture = _private(planted(_HEALTHY))
    facts = {(node.bus, name): str(value) for node in capture.nodes for name, value in node.facts.items()}
    assert is_token(capture.unit.product_serial)
    assert facts["net", "address"].startswith("address-")
    assert facts["bluetooth", "address"].startswith("address-")
    assert facts["smbios", "uuid"].startswith("uuid-")
    assert facts["nvme", "serial"].startswith("serial-")
    assert all(node.raw == {} for node in capture.nodes)


def test_the_bytes_that_differ_are_not_told() -> None:
    """They may be those of a serial number: a panel's is at bytes 12 to 15 of its EDID (E-EDID A.2, section 3.4)."""
    change = FactChange(field="raw.edid", before="128 bytes, from offset 12: 4c470001", after="128 bytes")
    tokens = Tokens()
    told = Rebuilt(tokens, Sweep(tokens, []))(change)
    assert (told.before, told.after) == ("128 bytes, from offset 12", "128 bytes")


def test_an_adapter_whose_serial_number_is_its_address_has_one_token_for_both() -> None:
    net = Node(
        bus="net", location="usb2/1/net", kind=Kind.FUNCTION, rung=Rung.WORKING, facts={"address": "a0:ce:c8:d2:f4:17"}
    )
    capture = _private(_with(_usb("Dock", "A0CEC8D2F417"), net))
    assert capture.nodes[-1].facts["address"] == capture.nodes[-2].facts["serial"]


def test_the_byte_swapped_form_of_a_uuid_is_the_same_uuid() -> None:
    """``bytes_le`` of Python's ``uuid``: the form in which SMBIOS stores it (DSP0134 section 7.2.1)."""
    its = uuid.UUID("4c4c4544-0039-4d10-8052-b4c04f4e3733")
    secret = Secret(SecretKind.UUID, str(its))
    for text in (str(its).upper(), its.hex, its.bytes_le.hex(), str(uuid.UUID(bytes=its.bytes_le)), its.urn):
        assert "uuid-1" in _swept(f"x {text} y", secret), text


def test_a_device_that_is_called_like_a_token_keeps_its_name_and_no_other_gets_it() -> None:
    capture = _private(_with(_usb("Dock serial-2", "ZT55-0917-KLM")))
    given_out = {capture.unit.product_serial, *(str(node.facts.get("serial", "")) for node in capture.nodes)}
    assert _name(capture) == "Dock serial-2"
    assert "serial-2" not in given_out


def _entry(number: int, fact: Recorded, by: str = "Thaddeus") -> Entry:
    at = f"2026-03-0{number}T09:00:00Z"
    return Entry(
        id=f"{number:032x}", unit="0" * 32, number=number, at=at, recorded_at=at, fact=fact, by=by, order=number
    )


def test_free_text_of_a_history_is_left_out_and_structured_facts_stay() -> None:
    step = StepDone(
        step=Step(kind=StepKind.FIT, of="top-case"),
        part=PartUsed(grade=Grade.USED, serial="TC-20931-NEWX"),
        cost=60,
        minutes=45,
        result="smells odd",
    )
    told = story(
        [
            _entry(
                1, Opened(label="Ms Applequist", intake=Intake(claims=("dead", "wet"), came_with=("box",), liquid=True))
            ),
            _entry(2, step),
            _entry(3, Noted(text="ring her", minutes=5)),
            _entry(4, Attached(file="sha256:" + "0" * 64, name="ermintrude.jpg", size=9)),
            _entry(
                5, Baselined(capture="x", serials=(PartSerial(of="unit", serial="TC-20931-NEWX"),), reason="her wish")
            ),
            _entry(6, Closed(ending=Ending.REPAIRED, remark="cousin paid")),
            _entry(7, Amended(entry=f"{3:032x}", reason="mistyped", instead=Noted(text="ring him", minutes=6))),
        ]
    )
    tokens = Tokens()
    for one in Walk().over(told):
        if isinstance(one, Secret):
            tokens.of(one)
    private = Rebuilt(tokens, Sweep(tokens, []))(told)
    opened, fitted, noted, attached, kept, closed = (one.fact for one in private.standings)
    assert opened == Opened(label="name-1", intake=Intake(claims=(LEFT_OUT,), came_with=(LEFT_OUT,), liquid=True))
    assert fitted == replace(step, part=PartUsed(grade=Grade.USED, serial="serial-1"), result=LEFT_OUT)
    assert noted == Noted(text=LEFT_OUT, minutes=6)
    assert (attached.name, attached.size) == ("(name left out)", 9)
    assert (kept.serials[0].serial, kept.reason, closed.remark) == ("serial-1", LEFT_OUT, LEFT_OUT)
    assert {one.entry.by for one in private.standings} == {""}
    words = " ".join(strings_of(private))
    assert not any(one in words for one in ("Applequist", "wet", "ring", "ermintrude", "wish", "cousin", "mistyped"))


@pytest.mark.parametrize(
    ("label", "stays"),
    [("LB-0001", True), ("2026/113", True), ("Ms Applequist", False), ("Anna", False), ("Flat 7", False)],
)
def test_a_label_stays_where_it_is_one_word_with_a_digit(label: str, stays: bool) -> None:
    assert is_number(label) is stays


def test_what_holds_no_secret_is_the_very_same_value() -> None:
    note = Noted(text="", minutes=5)
    tokens = Tokens()
    assert Rebuilt(tokens, Sweep(tokens, []))(note) is note


_SIGNS = string.ascii_letters + string.digits
_SERIALS = st.from_regex(r"[A-Za-z][A-Za-z0-9]{2,6}[-_.]?[0-9]{3,5}[A-Za-z][A-Za-z0-9]{0,6}", fullmatch=True)
_NOTATIONS = st.sampled_from(
    [
        str,
        str.upper,
        str.lower,
        lambda text: re.sub(r"[-_.]", "", text),
        lambda text: text.encode().hex(),
        lambda text: text.encode("utf-16-le").hex().upper(),
        lambda text: "".join(f"%{one:02X}" for one in text.encode()),
        lambda text: "".join(f"\\x{one:02x}" for one in text.encode()),
        lambda text: text.encode().hex(":"),
    ]
)
_AROUND = st.text(st.sampled_from(" ,;()[]\"'|\n"), max_size=3)


@pytest.mark.properties
@given(_SERIALS, _NOTATIONS, _AROUND, _AROUND, st.sampled_from(["name", "line", "why"]))
def test_a_serial_number_planted_anywhere_in_any_notation_never_comes_out(
    serial: str, notation: object, before: str, after: str, where: str
) -> None:
    assert callable(notation)
    assume(is_serial(serial))
    written = notation(serial)
    text = f"Dock{before or ' '}{written}{after or ' '}is here"
    nodes = [_usb(text if where == "name" else "Dock")]
    capture = _with(*nodes, lines=(text,) if where == "line" else (), serial=serial)
    if where == "why":
        capture = replace(capture, coverage=(replace(capture.coverage[0], why=text),))
    assert written.lower() not in "\n".join(strings_of(_private(capture))).lower()


@pytest.mark.properties
@given(st.binary(min_size=6, max_size=6), st.sampled_from([":", "-", "", "."]), st.booleans())
def test_an_address_planted_anywhere_never_comes_out(octets: bytes, separator: str, capital: bool) -> None:
    assume(len(set(octets.hex())) > 4)
    address = separator.join(f"{one:02x}" for one in octets)
    written = address.upper() if capital else address
    net = Node(
        bus="net", location="usb2/1/net", kind=Kind.FUNCTION, rung=Rung.WORKING, facts={"address": octets.hex(":")}
    )
    told = "\n".join(strings_of(_private(_with(net, lines=(f"link of {written} lost",)))))
    assert written not in told


@pytest.mark.properties
@given(st.lists(st.text(max_size=40), max_size=4), _SERIALS)
def test_redaction_is_idempotent(texts: list[str], serial: str) -> None:
    capture = _with(_usb(" ".join(texts), serial), lines=tuple(texts), serial=serial)
    once = private_comparison(_compared(capture))
    assert private_comparison(once) == once


@pytest.mark.properties
@given(st.text(st.sampled_from(string.ascii_letters + " ,.;-"), max_size=60))
def test_a_text_of_words_without_secrets_stays_as_it_is(text: str) -> None:
    assert _swept(text, _serial("LG-0001-DEMO"), Secret(SecretKind.ADDRESS, "02:4c:47:00:00:01")) == text


@pytest.mark.properties
@given(st.lists(_SERIALS, min_size=2, max_size=6, unique_by=lambda text: re.sub(r"[\W_]", "", text.lower())))
def test_different_values_have_different_tokens_and_the_same_value_one(serials: list[str]) -> None:
    tokens = Tokens()
    given_out = [tokens.of(_serial(serial)) for serial in serials]
    assert len(set(given_out)) == len(serials)
    assert [tokens.of(_serial(serial.lower())) for serial in serials] == given_out
