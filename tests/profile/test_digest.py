"""The digest of a profile: RFC 8785, checked against its own examples and a library that implements it."""

from __future__ import annotations

import hashlib
import struct
import tomllib
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from usbwatch.profile import load, parse, sealed, shipped
from usbwatch.profile.digest import canonical, digest, short

RFC_8785_APPENDIX_B = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}
"""RFC 8785 appendix B: IEEE 754 bits of a number, and how it is written."""


@pytest.mark.parametrize("bits", RFC_8785_APPENDIX_B)
def test_numbers_are_written_as_the_rfc_shows(bits: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number).decode() == RFC_8785_APPENDIX_B[bits]


_VALUES = st.recursive(
    st.one_of(
        st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
        st.booleans(),
        st.integers(min_value=-(2**53) + 1, max_value=2**53 - 1),
        st.floats(allow_nan=False, allow_infinity=False),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.text(st.characters(exclude_categories=["Cs"]), max_size=4), inner, max_size=4),
    ),
    max_leaves=12,
)


@pytest.mark.properties
@settings(deadline=None)
@given(value=_VALUES)
def test_the_canonical_form_is_that_of_a_library(value: Any) -> None:  # noqa: ANN401 - any JSON value
    """The Python package rfc8785, which nobody here wrote."""
    assert canonical(value) == rfc8785.dumps(value)


@pytest.mark.parametrize("path", sorted(shipped("profiles").glob("*.toml")), ids=lambda path: path.stem)
def test_a_digest_is_over_everything_but_itself(path: Path) -> None:
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    expected = f"sha256:{hashlib.sha256(rfc8785.dumps(document)).hexdigest()}"
    assert digest(document) == digest(document | {"digest": "whatever"}) == expected
    assert expected.removeprefix("sha256:").startswith(short(expected))


@pytest.mark.parametrize("path", sorted(shipped("profiles").glob("*.toml")), ids=lambda path: path.stem)
@pytest.mark.parametrize("newline", ["\n", "\r\n"], ids=["LF", "CRLF"])
def test_sealing_adds_one_line_and_keeps_all_others(path: Path, newline: str) -> None:
    text = path.read_text(encoding="utf-8").replace("\n", newline)
    made = sealed(text)
    added = [line for line in made.split(newline) if line not in text.split(newline)]
    assert [line.partition(" ")[0] for line in added] == ["digest"]
    assert made.replace(added[0] + newline, "") == text
    assert not parse(made, "made.toml").edited
    assert sealed(made) == made


def test_an_edited_value_shows_and_an_edited_comment_does_not() -> None:
    text = sealed((shipped("profiles") / "fernhill-larch-13.toml").read_text(encoding="utf-8"))
    assert not parse(text.replace("# What feeds", "# Whatever feeds"), "x.toml").edited
    edited = parse(text.replace("cost = 210", "cost = 211"), "x.toml")
    assert edited.edited
    again = parse(sealed(text.replace("cost = 210", "cost = 211")), "x.toml")
    assert (again.edited, again.digest == edited.digest) == (False, False)


def test_a_profile_without_a_digest_is_not_called_edited() -> None:
    profile = load(str(shipped("profiles") / "generic-clamshell.toml"))
    assert (profile.digest, profile.edited) == ("", False)


_HEAD = 'format = "usbwatch-profile"\nschema = 1\n'
_NAMED = 'name = "A"\nsource = "S"\n'
_ID = 'id = "a"\n'

ODD_FILES = {
    "byte order mark": f"\ufeff{_HEAD}{_ID}{_NAMED}",
    "id over several lines": f'{_HEAD}id = """\na"""\n{_NAMED}',
    "id last, no line end": f'{_HEAD}{_NAMED}id = "a"',
    "digest in a comment": f'{_HEAD}# digest = "x"\n{_ID}{_NAMED}',
    "dotted tables": f"{_HEAD}{_ID}{_NAMED}money.hourly_rate = 4\n",
    "old digest": f'{_HEAD}{_ID}{_NAMED}digest = "sha256:{0:064}" # x\n',
    "a date without quotes": f"{_HEAD}{_ID}{_NAMED}date = 2026-03-02\n",
}


@pytest.mark.parametrize("text", ODD_FILES.values(), ids=ODD_FILES)
def test_odd_files_are_sealed_too(text: str) -> None:
    made = parse(sealed(text), "odd.toml")
    assert (made.id, made.edited, bool(made.digest)) == ("a", False, True)
