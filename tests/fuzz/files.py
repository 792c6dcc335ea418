"""Targets: the files that are handed to the program. JSON is sealed anew before it is read as a capture."""

from __future__ import annotations

import atexit
import functools
import hashlib
import json
import os
import shutil
from collections.abc import Iterable
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from fuzz.structure import in_json, in_lines
from fuzz.target import Broken, Target, clean
from support.bench import PROFILE_TOML, small_capture

from usbwatch.capture import to_json
from usbwatch.capture.document import canonical
from usbwatch.capture.saved import parse, parse_saved, saved_of, saved_of_content
from usbwatch.cli.watch_journal import recovered
from usbwatch.errors import BadCapture
from usbwatch.model import Experience
from usbwatch.profile.exporting import to_dict
from usbwatch.profile.notes import notes as profile_notes
from usbwatch.profile.places import impossible
from usbwatch.profile.reading import parse as parse_profile
from usbwatch.profile.sealing import sealed
from usbwatch.show import json_text, plain, profile_document, profile_view
from usbwatch.show.report.verifying import verified
from usbwatch.stick import experience, notes, settings
from usbwatch.stick.own_profiles import without_money

__all__ = ["TARGETS", "captures_of", "in_memory", "journals", "reports", "sealed_anew", "written"]

_ROOT = Path(__file__).parents[2]
_SHARED = Path("/dev/shm")


@functools.cache
def _base() -> Path:
    folder = mkdtemp(prefix="usbwatch-fuzz-", dir=_SHARED if _SHARED.is_dir() else None)
    atexit.register(_removed, folder, os.getpid())
    return Path(folder)


def in_memory() -> Path:
    """This process's folder for files that are written often, in memory where the system has such."""
    folder = _base() / str(os.getpid())
    folder.mkdir(exist_ok=True)
    return folder


def _removed(folder: str, owner: int) -> None:
    """Not by the processes that this one was forked into."""
    if os.getpid() == owner:
        shutil.rmtree(folder, ignore_errors=True)


def written(name: str, data: bytes) -> str:
    """The name of a file in memory with this content."""
    path = in_memory() / name
    path.write_bytes(data)
    return str(path)


def sealed_anew(data: bytes) -> bytes:
    """A document of JSON with the digest that it ought to have; anything else as it is."""
    try:
        plain_document = json.loads(data)
        if not isinstance(plain_document, dict):
            return data
        body = canonical({key: value for key, value in plain_document.items() if key != "digest"})
        digest = f"sha256:{hashlib.sha256(body).hexdigest()}"
        return json.dumps({**plain_document, "digest": digest}).encode("utf-8", "surrogatepass")
    except (ValueError, RecursionError):
        return data


def _smaller(document: dict[str, Any], number: int) -> dict[str, Any]:
    """A capture with a part of its nodes: the fuzzer is to try many."""
    return {**document, "nodes": document["nodes"][number::6]}


def captures_of(*names: str) -> list[bytes]:
    """Captures of the demo, each in six parts, and the small invented unit's."""
    whole = [json.loads((_ROOT / "captures" / f"{name}.json").read_bytes()) for name in names]
    parts = [_smaller(one, number) for one in whole for number in range(6)]
    for one in parts:  # judged by the small unit's profile, which is quickly done
        one["unit"] = {**one["unit"], "sys_vendor": "Ostrey", "product_name": "Plover S"}
    small = [to_json(small_capture()), to_json(small_capture(keyboard=False, product="Nothing known"))]
    return [*(one.encode() for one in small), *(json.dumps(one, separators=(",", ":")).encode() for one in parts)]


def _capture_seeds() -> list[bytes]:
    return captures_of("larch-13-top-case-lost", "larch-13-watched")


def _capture(data: bytes) -> None:
    """As it is, and sealed; what is taken is written as it was read."""
    for content in (data, sealed_anew(data)):
        try:
            saved = parse_saved(content, "it")
        except BadCapture as error:
            clean(str(error))
            continue
        again = saved_of_content(saved.content, "it")
        if parse(saved.text.encode(), "it") != saved.capture or again.digest != saved.digest:
            raise Broken("what is written is not what was read")
        if parse(to_json(saved.capture).encode(), "it") != saved.capture:
            raise Broken("the capture does not survive its own file")
        saved_of(saved.capture)


def journals() -> Iterable[bytes]:
    capture = json.loads(to_json(small_capture()))
    place = "pci0000:00/14.0/usb2/1"
    watch = {
        "began_at": "2026-03-02T09:14:00Z",
        "lasted_ms": 5,
        "limit_ms": 1,
        "sources": ["uevents"],
        "watched": [place],
    }
    opening = {"format": "usbwatch-watch-journal", "schema": 1, "capture": capture, "watch": watch}
    rest = [
        {"event": {"at_ms": 5, "change": "gone", "bus": "usb", "location": place}},
        {"mark": {"at_ms": 7, "text": "flexed"}},
        {"lasted_ms": 9, "sources": ["uevents"], "limit_ms": 1, "missed": 0},
    ]
    yield "".join(json.dumps(one, separators=(",", ":")) + "\n" for one in (opening, *rest)).encode()


def _journal(data: bytes) -> None:
    """Its capture is sealed anew, for a line of it that was changed would be refused at once."""
    first, feed, rest = data.partition(b"\n")
    try:
        opening = json.loads(first)
        opening["capture"] = json.loads(sealed_anew(json.dumps(opening["capture"]).encode()))
        first = json.dumps(opening, separators=(",", ":")).encode()
    except (ValueError, TypeError, KeyError, RecursionError):
        pass
    capture, left = recovered(written("it.part", first + feed + rest))
    if not 0 <= left <= len(data):
        raise Broken(f"{left} bytes of {len(data)} could not be read")
    to_json(capture)


def reports() -> Iterable[bytes]:
    digest = "sha256:" + "a" * 64
    text = f"usbwatch report\n\nHOW THIS WAS MADE\ncapture {digest}\n"
    page = f'<!doctype html><html><meta name="usbwatch-capture" content="{digest}"><p>usbwatch</p></html>\n'
    for body, end in ((text, "sealed sha256:{}\n"), (page, "<!-- usbwatch-report sha256:{} -->\n")):
        yield (body + end.format(hashlib.sha256(body.encode()).hexdigest())).encode()
    document = {"format": "usbwatch-report", "schema": 1, "looks": [{"digest": digest}]}
    yield sealed_anew(json.dumps(document).encode())
    yield b"subassembly,device,verdict\n"


def _verified(data: bytes) -> None:
    for content in (data, sealed_anew(data)):
        its = verified(content, "it")
        clean(f"{its.seal} {its.hint}")


def _profile_seeds() -> Iterable[bytes]:
    yield PROFILE_TOML.encode()
    yield (_ROOT / "profiles" / "fernhill-larch-13.toml").read_bytes()
    yield (_ROOT / "profiles" / "generic-clamshell.toml").read_bytes()


def _profile(data: bytes) -> None:
    """What is taken can be shown, sealed, and shared without its prices, and is then still the same."""
    text = data.decode("utf-8", "surrogateescape")
    if any("\ud800" <= letter <= "\udfff" for letter in text):
        text = data.decode("latin-1")
    profile = parse_profile(text, "it")
    clean(plain(profile_view(profile, 80), 80))
    clean(json_text(profile_document(profile)))
    clean(" ".join(str(part) for note in profile_notes(profile) for part in note))
    with_digest = parse_profile(sealed(text), "it")
    if with_digest.edited or not with_digest.digest:
        raise Broken("a profile that was just sealed is said to be edited")
    if to_dict(parse_profile(without_money(text), "it")).get("device") != to_dict(profile).get("device"):
        raise Broken("without its prices a profile has other devices")


def _experience(data: bytes) -> None:
    told = experience.read_experience(written("experience.json", data), "plover-small")
    if told is not None:
        told.own_tally("keyboard")


def _place(data: bytes) -> None:
    place, function = (part.decode("utf-8", "replace") for part in (data.partition(b"\xff")[::2]))
    clean(impossible(place, function))


_NOTES = notes.to_json(notes.Notes(capture="sha256:" + "a" * 64, label="LB-0007", after=("larch-13-1.json",))).encode()
_SETTINGS = settings.to_json(
    settings.Settings(
        built="2026-03-02T09:14:00Z",
        usbwatch="0.1.0",
        kernel="6.1.0",
        data_partition="c12a7328-f81f-11d2-ba4b-00a0c93ec93b",
        profiles="/p",
        experience=None,
        money=True,
    )
).encode()
_EXPERIENCE = experience.experience_json({"plover-small": Experience(cases=3, own=2, sites={"keyboard": 1})}).encode()

TARGETS = (
    Target(name="capture-file", run=_capture, seeds=_capture_seeds, share=6, mutate=in_json, largest=16_384),
    Target(name="watch-journal", run=_journal, seeds=journals, share=3, mutate=in_lines, largest=8192),
    Target(name="report-verify", run=_verified, seeds=reports, share=2, mutate=in_json),
    Target(name="profile-file", kept=20, run=_profile, seeds=_profile_seeds, share=8, mutate=in_lines, largest=18_000),
    Target(
        name="profile-locations", run=_place, seeds=lambda: [b"pci0000:00/14.0/usb2/1.2\xffkeyboard", b"acpi/_SB_.PCI0"]
    ),
    Target(
        name="unit-notes", run=lambda data: notes.parsed(data, "it"), seeds=lambda: [_NOTES], share=2, mutate=in_json
    ),
    Target(
        name="stick-settings", run=lambda data: settings.parsed(data, "it"), seeds=lambda: [_SETTINGS], mutate=in_json
    ),
    Target(name="stick-experience", run=_experience, seeds=lambda: [_EXPERIENCE], mutate=in_json),
)
