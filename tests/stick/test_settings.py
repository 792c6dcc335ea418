"""The settings of a stick, written and read again; what is no such document gets one sentence."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.errors import BadSettings
from usbwatch.stick.image import DATA_GUID
from usbwatch.stick.settings import Settings, parsed, read, to_json

GIVEN = Settings(
    built="2026-03-02T09:14:00Z",
    usbwatch="0.1.0",
    kernel="6.1.0-57-amd64",
    data_partition=DATA_GUID,
    profiles="/opt/stick/profiles",
    experience="/opt/stick/experience.json",
    money=True,
)


def test_what_is_written_is_read(tmp_path: Path) -> None:
    (tmp_path / "settings.json").write_text(to_json(GIVEN), "utf-8")
    assert read(str(tmp_path / "settings.json")) == GIVEN


WRONG = {
    "another format": ({"format": "usbwatch-capture"}, 'its "format" is not "usbwatch-stick"'),
    "a newer schema": ({"schema": 2}, 'has a "schema" that this usbwatch does not know (it knows 1)'),
    "true for a schema": ({"schema": True}, 'has a "schema" that this usbwatch does not know'),
    "no time": ({"built": "yesterday"}, '"built" has to be a time in UTC'),
    "no GUID": ({"data_partition": DATA_GUID.upper()}, '"data_partition" has to be a GUID in lower case'),
    "no path": ({"profiles": "profiles"}, '"profiles" has to be an absolute path'),
    "a number": ({"experience": 3}, '"experience" has to be an absolute path, or null'),
    "no truth": ({"money": 1}, '"money" has to be true or false'),
    "no text": ({"kernel": None}, '"kernel" has to be a text'),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_told(case: str) -> None:
    change, sentence = WRONG[case]
    with pytest.raises(BadSettings) as refused:
        parsed(json.dumps(json.loads(to_json(GIVEN)) | change).encode())
    assert sentence in str(refused.value)
    assert str(refused.value).count("\n") == 0


def test_no_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadSettings, match="cannot be read"):
        read(str(tmp_path / "none"))


@given(
    st.binary(max_size=300) | st.recursive(st.none() | st.text(), st.lists).map(lambda one: json.dumps(one).encode())
)
def test_any_other_bytes_are_no_settings(content: bytes) -> None:
    with pytest.raises(BadSettings):
        parsed(content)
