"""Targets: what is typed, by a person or by a broken keyboard; foreign texts on their way into every form."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from datetime import UTC, datetime

import click
from fuzz.target import Broken, Target, clean, nothing_raw
from support.bench import PROFILE_TOML

from usbwatch.capture.naming import default_name, slug
from usbwatch.cli.answers import answers, numbered, parsed_answer, parsed_numbered_answer
from usbwatch.cli.steps import parsed_did, part_at_hand, step
from usbwatch.cli.typed_line import Typed, typed_on
from usbwatch.drafting.pieces import comment, toml_lines, toml_value
from usbwatch.kit.building import is_note_of_kit
from usbwatch.kit.posting import NotPosted, place
from usbwatch.listen.codes import grouped, is_code, normalised
from usbwatch.model import UnitStrings
from usbwatch.onboard.keys import Pressed, pressed
from usbwatch.onboard.letters import console_text
from usbwatch.profile import parse
from usbwatch.safe import safe, typed
from usbwatch.show import plain_ascii
from usbwatch.show.report.letters import fitted, settable
from usbwatch.show.report.secret_patterns import spots

__all__ = ["TARGETS"]

_PROFILE = parse(PROFILE_TOML, "plover-small.toml")


def _keys(data: bytes) -> None:
    """The same keys whether the bytes come at once or one by one, and none that a screen would obey."""
    _, keys = pressed(Pressed(), data, 5)
    clean("".join(keys))
    state, line = Pressed(), Typed()
    for at in range(len(data)):
        state, _ = pressed(state, data[at : at + 1], at * 200)
        line, lines = typed_on(line, data[at : at + 1])
        clean("".join(lines))
    clean(line.text)
    at_once, _ = typed_on(Typed(), data)
    if at_once.text != line.text:
        raise Broken("a line is another one when it comes in pieces")


def _options(data: bytes) -> None:
    """Every option with a form of its own; what is wrong is click's to tell."""
    text = data.decode("utf-8", "surrogateescape")
    ways: tuple[Callable[[], object], ...] = (
        lambda: numbered(text),
        lambda: answers([parsed_answer(text)], _PROFILE),
        lambda: parsed_numbered_answer(text),
        lambda: step(*parsed_did(text)[1:], _PROFILE),
        lambda: part_at_hand(text, _PROFILE),
    )
    for way in ways:
        try:
            way()
        except click.BadParameter as error:
            if not error.message:
                raise Broken("an option is refused without a word") from error


def _address(data: bytes) -> None:
    text = data.decode("utf-8", "surrogateescape")
    is_note_of_kit(data)
    if is_code(text):
        grouped(normalised(text))
    host, port = place(text)
    if not host or not 0 < port < 65536:
        raise Broken(f"no address: {host!a}:{port}")


def _texts(data: bytes) -> None:
    """A foreign text on a screen, in a drawing, a file's name, a profile, a table, and looked through for secrets."""
    text = data.decode("utf-8", "surrogateescape")
    for limit in (10, 240):
        if len(clean(safe(text, limit))) > limit:
            raise Broken("a text is longer than its limit")
    if safe(safe(text)) != safe(text):
        raise Broken("a safe text does not stay as it is")
    clean(typed(text))
    if not plain_ascii(safe(text)).isascii():
        raise Broken("not ASCII")
    clean(console_text(safe(text)))
    settable(text)
    fitted(safe(text), 100, 12, lines=2)
    name = default_name(UnitStrings(product_name=text), datetime(2026, 3, 2, tzinfo=UTC))
    if not name.isascii() or "/" in name or name.startswith((".", "-")) or slug(text) != slug(slug(text)):
        raise Broken(f"no name for a file: {name!a}")
    _in_a_profile(safe(text))
    for spot in spots(text):
        if not 0 <= spot.start < spot.end <= len(text):
            raise Broken(f"a secret stands nowhere: {spot}")


def _in_a_profile(text: str) -> None:
    lines = "\n".join([*comment(text), *toml_lines("x", text, beside=text), *toml_lines("y", [text, text])])
    if tomllib.loads(nothing_raw(lines)) != {"x": text, "y": [text, text]}:
        raise Broken("a profile does not give back what was written")
    toml_value(text)


TARGETS = (
    Target(name="keys", run=_keys, seeds=lambda: ["a\x1b[A\rü\x7f\x15".encode()], share=2, largest=300),
    Target(
        name="options",
        run=_options,
        seeds=lambda: [b"2:caps-light=yes", b"swap:top-case", b"drain", b"keyboard"],
        share=2,
        largest=300,
    ),
    Target(
        name="bench-address",
        run=_address,
        seeds=lambda: [b"http://[fe80::1%eth0]:7613/capture", b"192.168.7.1 K7PM-4RTX"],
        refuses=(NotPosted,),
        largest=300,
    ),
    Target(
        name="foreign-texts",
        run=_texts,
        seeds=lambda: ["Larch \x1b[2J é\u0301\u202e LG-0001-DEMO 00:11:22:33:44:55 =x".encode()],
        share=3,
        largest=800,
    ),
)
