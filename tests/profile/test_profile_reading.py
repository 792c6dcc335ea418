"""From a file to a profile, and every way in which there is none."""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.hostile import HOSTILE

from usbwatch.errors import BadProfile
from usbwatch.model import Basis, ExpectedDevice, HandCheck, Match, Money, Part, PartKind, Profile, Rung, Variant
from usbwatch.profile import load, parse
from usbwatch.profile.reading import LARGEST_FILE

RIGHT = Path(__file__).parent.parent / "examples" / "profiles" / "right"
TOP = 'format = "usbwatch-profile"\nschema = 1\nid = "demo"\nname = "Demo"\nsource = "Invented."\n'


def faults_of(text: str) -> tuple[tuple[str, str], ...]:
    with pytest.raises(BadProfile) as refused:
        parse(text, "demo.toml")
    return refused.value.faults


def test_every_key_arrives_in_the_profile() -> None:
    path = str(RIGHT / "every-key.toml")
    assert load(path) == Profile(
        id="every-key",
        name="Every key",
        source="Invented, and wrapped.",
        author="Lowgate Bench",
        date="2026-03-14",
        match=Match(
            strings={
                "sys_vendor": ("Fernhill", "Fernhill Ltd."),
                "product_name": ("Larch 13",),
                "product_version": ("Rev B",),
                "product_sku": ("L13-8-256",),
                "product_family": ("Larch",),
                "board_vendor": ("Fernhill",),
                "board_name": ("LB13-MB",),
                "board_version": ("B2",),
                "bios_version": ("FH1.07",),
                "chassis_type": ("9", "10"),
            }
        ),
        variants=(
            Variant(
                id="basic",
                name="Basic",
                match=Match(strings={"product_sku": ("L13-4-128",)}),
                without=("camera", "all-keys-type"),
            ),
        ),
        parts=(
            Part(id="mainboard", kind=PartKind.SUBASSEMBLY, name="Mainboard", cost=0, minutes=0, weight=0.5),
            Part(id="top-case", kind=PartKind.SUBASSEMBLY, name="Top case", cost=120, minutes=60, weight=2.0),
            Part(
                id="mainboard-usb",
                kind=PartKind.SECTION,
                name="USB section",
                within="mainboard",
                cost=25,
                minutes=90,
                weight=1.5,
            ),
            Part(
                id="top-case-flex",
                kind=PartKind.LINK,
                name="Top-case flex",
                joins=("mainboard", "top-case"),
                cost=8,
                minutes=15,
                weight=1.5,
                spare="the second connector of the mainboard",
            ),
            Part(
                id="top-case-3v3",
                kind=PartKind.RAIL,
                name="3.3 V supply",
                within="mainboard",
                cost=20,
                minutes=91,
                weight=0.25,
            ),
        ),
        devices=(
            ExpectedDevice(
                id="keyboard",
                name="Keyboard",
                function="keyboard",
                within="top-case",
                locations=("pci0000:00/14.0/usb2/4.1",),
                identities=("1209:0001",),
                needs=("mainboard-usb", "top-case-3v3", "top-case-flex"),
                reaches=Rung.BOUND,
                speed_mbps=12,
                lanes=2,
                link_gts=8.0,
                optional=True,
                weight=3.0,
                firmware_names=("PNP0303",),
            ),
            ExpectedDevice(
                id="camera",
                name="Camera",
                function="camera",
                within="top-case",
                locations=("pci0000:00/14.0/usb2/5", "acpi/_SB_.PCI0.CAM0"),
                identities=("1209:0003", "1209:0007"),
                needs=("keyboard",),
            ),
        ),
        checks=(
            HandCheck(
                id="all-keys-type",
                question="Does every key type?",
                needs=("keyboard",),
                caution="Keep liquids away.",
                stop="Water and mains together: switch the mains off first.",
                minutes=3,
            ),
        ),
        money=Money(currency="EUR", value_working=260, value_as_is=0, value_parts=45, hourly_rate=40),
        basis=Basis(how="written", layout="clamshell", units=3, captures=5, since="2026-03-02", until="2026-03-14"),
        digest="sha256:946f7e716b70a8e4d2e381d1569ac2fe50abca102da4e387becebd075ad702ed",
        path=path,
    )


def test_a_key_left_out_has_the_default_of_the_model() -> None:
    assert parse(TOP, "demo.toml") == Profile(id="demo", name="Demo", source="Invented.", path="demo.toml")


def test_other_layouts_of_toml_say_the_same() -> None:
    profile = load(str(RIGHT / "other-layout.toml"))
    assert [part.id for part in profile.parts] == ["mainboard", "base", "contacts"]
    assert profile.devices[0].needs == ("contacts",)
    assert profile.match.strings == {"sys_vendor": ("Ostrey",)}


def test_a_text_is_worked_out_once_and_a_changed_one_anew() -> None:
    text = 'format = "usbwatch-profile"\nschema = 1\nid = "a"\nname = "A"\nsource = "invented"\n'
    assert parse(text, "a.toml") is parse(text, "a.toml")
    assert parse(text, "b.toml").path == "b.toml"
    assert parse(text.replace('"A"', '"B"'), "a.toml").name == "B"


def test_a_byte_order_mark_and_other_line_ends_do_no_harm() -> None:
    path = RIGHT / "other-writing.toml"
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    assert b"\r\n" in path.read_bytes()
    assert load(str(path)).name == "Größe, 13″ — 漢字"


def test_a_missing_file_is_one_sentence() -> None:
    with pytest.raises(BadProfile) as refused:
        load("no-such-profile.toml")
    assert len(refused.value.faults) == 1
    assert "there is no such file" in str(refused.value)


def test_a_folder_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(BadProfile, match=r"is a folder; name a \.toml file in it"):
        load(str(tmp_path))


def test_a_name_that_no_file_can_have_is_one_sentence() -> None:
    with pytest.raises(BadProfile) as refused:
        load("demo\0.toml")
    assert "\0" not in str(refused.value)
    assert "not a name that a file can have" in str(refused.value)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no named pipes of this kind")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "demo.toml"
    os.mkfifo(pipe)
    told: list[str] = []

    def read() -> None:
        with pytest.raises(BadProfile) as refused:
            load(str(pipe))
        told.append(str(refused.value))

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    thread.join(timeout=10)
    assert told
    assert "is not a plain file" in told[0]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows words this otherwise")
def test_a_file_used_as_a_folder_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "demo.toml").write_text(TOP, encoding="utf-8")
    with pytest.raises(BadProfile, match="cannot be read: Not a directory; check the name and its permissions"):
        load(str(tmp_path / "demo.toml" / "inner.toml"))


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no users of this kind")
def test_a_file_that_may_not_be_read_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    path.write_text(TOP, encoding="utf-8")
    path.chmod(0)
    superuser = os.geteuid() == 0
    if superuser:  # who may read everything: be nobody for a moment
        os.seteuid(65534)
    try:
        with pytest.raises(BadProfile, match="cannot be read: Permission denied"):
            load(str(path))
    finally:
        if superuser:
            os.seteuid(0)


def test_a_file_of_the_largest_size_is_read_and_one_byte_more_is_not(tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    path.write_text(TOP + "#\n" * ((LARGEST_FILE - len(TOP)) // 2), encoding="utf-8")
    assert load(str(path)).id == "demo"
    path.write_bytes(path.read_bytes() + b"#" * (LARGEST_FILE + 1 - path.stat().st_size))
    with pytest.raises(BadProfile, match="too large for a profile"):
        load(str(path))


@pytest.mark.parametrize(
    ("version", "told"),
    [("2", "is 2"), ("0", "is 0"), ("true", "is true"), ('"1"', "is '1'"), ("1.5", "is 1.5"), ("[1]", "is a list")],
)
def test_another_version_is_refused_with_its_line(version: str, told: str) -> None:
    faults = faults_of(TOP.replace("schema = 1", f"schema = {version}"))
    assert faults == (("line 2, schema", f"the schema version {told}; this usbwatch reads schema = 1"),)


def test_a_missing_version_is_refused() -> None:
    assert faults_of(TOP.replace("schema = 1\n", "")) == (
        ("schema", "the schema version is missing; this usbwatch reads schema = 1"),
    )


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("name = Fernhill", 6),
        ("x = [1,\n2", 7),
        ('name = "x"', 6),
        ("[device.a]\n[device.a]", 7),
        ('\nx = "\x01"', 7),
        ("x = 1 y = 2", 6),
        ('x = """\n\n', 8),
    ],
    ids=[
        "bare word",
        "array not closed",
        "key twice",
        "table twice",
        "control character",
        "two on a line",
        "open text",
    ],
)
def test_a_toml_error_is_one_fault_with_its_line(text: str, line: int) -> None:
    ((place, problem),) = faults_of(TOP + text)
    assert place == f"line {line}"
    assert problem.startswith("not TOML: ")
    assert problem.isprintable()


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[\n" * 100_000,
        "x = " + "[\n" * 300 + "]\n" * 300,
        "x = " + "{a = " * 90 + "1" + "}" * 90,
        ".".join(["a"] * 100) + " = 1",
        "x = " + "9" * 1900,
        "x = 0x" + "f" * 1900,
        "x = 1e999999",
        "[[device]]\n[[device]]",
    ],
    ids=["open", "deep", "tables in tables", "long key", "long number", "long hex", "infinite", "array of tables"],
)
def test_extremes_of_toml_are_faults_and_not_accidents(text: str) -> None:
    for place, problem in faults_of(TOP + text):
        assert (place + problem).isprintable()
        assert len(problem) < 500


def test_no_more_than_a_hundred_faults_are_told() -> None:
    faults = faults_of(TOP + "".join(f"k{number} = 1\n" for number in range(5000)))
    assert len(faults) == 101
    assert faults[0][0] == "line 6, k0"
    assert faults[-1] == ("", "there are more faults after these; mend these first")


def _quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0, section String): what it may not hold is escaped."""
    kept = text.encode("utf-8", "replace").decode("utf-8")[:400]
    return '"' + "".join(letter if letter.isalnum() else f"\\U{ord(letter):08x}" for letter in kept) + '"'


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
@pytest.mark.parametrize("table", ["subassembly", "link", "device", "check"])
def test_a_hostile_string_never_reaches_a_message_as_it_is(text: str, table: str) -> None:
    foreign = _quoted(text[:100])
    body = f'[{table}.x]\nname = "x"\nfunction = {foreign}\nwithin = {foreign}\nneeds = [{foreign}]\n{foreign} = 1\n'
    faults = faults_of(TOP + body)
    assert len(faults) >= 2
    for place, problem in faults:
        assert (place + problem).isprintable()
        assert len(place) < 1000
        assert len(problem) < 1000


_SCALARS = st.one_of(
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.dates(),
    st.lists(st.text(max_size=5), max_size=3),
)


@pytest.mark.properties
class TestAnyDocumentIsReadOrRefused:
    """Whatever TOML says, the outcome is a profile or a ``BadProfile`` whose every fault can be shown."""

    @settings(deadline=None)
    @given(text=st.text(max_size=200))
    def test_any_text(self, text: str) -> None:
        read_or_refused(text)

    @settings(deadline=None)
    @given(
        table=st.sampled_from(
            ["match", "variant", "subassembly", "section", "link", "rail", "device", "check", "money"]
        ),
        values=st.dictionaries(
            st.sampled_from(["name", "needs", "within", "joins", "cost", "weight", "location", "without", "other"]),
            _SCALARS,
        ),
    )
    def test_any_table(self, table: str, values: dict[str, object]) -> None:
        body = "".join(f"{key} = {_toml(value)}\n" for key, value in values.items())
        read_or_refused(f"{TOP}[{table}.x]\n{body}")


def read_or_refused(text: str) -> None:
    refused: BadProfile | None = None
    try:
        parse(text, "any.toml")
    except BadProfile as error:
        refused = error
    assert refused is None or refused.faults
    assert refused is None or all((place + problem).isprintable() for place, problem in refused.faults)


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return str(value)


_LIMITED = """format = "usbwatch-profile"
schema = 1
id = "p"
name = "p"
source = "Generated."
[subassembly]
board = {{name = "Board"}}
case = {{name = "Case"}}
[link]
{links}
[device]
{devices}
[check]
{checks}
"""


def _of_size(*, links: int, devices: int, checks: int) -> str:
    """A profile of two subassemblies and so many other entries, one a line."""
    return _LIMITED.format(
        links="\n".join(f'l{n} = {{name = "l", joins = ["board", "case"]}}' for n in range(links)),
        devices="\n".join(
            f'd{n} = {{name = "d", function = "sensor", within = "case", location = "acpi/D{n:03}", needs = ["l0"]}}'
            for n in range(devices)
        ),
        checks="\n".join(f'c{n} = {{question = "c", needs = ["l0"]}}' for n in range(checks)),
    )


def test_a_profile_may_have_400_parts_400_devices_and_400_hand_checks() -> None:
    read = parse(_of_size(links=398, devices=400, checks=400), "large.toml")
    assert (len(read.parts), len(read.devices), len(read.checks)) == (400, 400, 400)


@pytest.mark.parametrize(
    ("counts", "fault"),
    [
        ({"devices": 401}, ("device", "has too many entries; at most 400")),
        ({"checks": 401}, ("check", "has too many entries; at most 400")),
        ({"links": 401}, ("link", "has too many entries; at most 400")),
        ({"links": 399}, ("link", "401 parts in subassembly, section, link and rail; at most 400")),
    ],
    ids=["devices", "checks", "links", "parts together"],
)
def test_a_larger_one_is_refused_with_one_sentence(counts: dict[str, int], fault: tuple[str, str]) -> None:
    text = _of_size(**{"links": 1, "devices": 1, "checks": 1} | counts)
    table, problem = fault
    line = text.splitlines().index(f"[{table}]") + 1
    with pytest.raises(BadProfile) as refused:
        parse(text, "too-large.toml")
    assert refused.value.faults == ((f"line {line}, {table}", problem),)
