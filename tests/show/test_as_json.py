"""JSON documents: one each, plain ASCII, and read back as what was meant (RFC 8259)."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from support.hostile import HOSTILE, poisoned
from support.invented import PROFILE, TOP_CASE_LOST, WHOLE

from usbwatch.localise import discern_model
from usbwatch.model import Rung, UnitStrings, Verdict
from usbwatch.show import check_document, json_text, profile_document, profiles_document
from usbwatch.show.json_values import plain_value


def read(text: str) -> Any:  # noqa: ANN401
    return json.loads(text)


def test_a_check_says_what_it_is_and_what_came_of_it() -> None:
    document = read(json_text(check_document(TOP_CASE_LOST)))
    assert (document["format"], document["schema"]) == ("usbwatch-check", 1)
    assert document["outcome"] == "wrong"
    assert document["summary"].startswith("1 of 19 expected devices is missing")
    assert document["unit"]["product_name"] == "Larch 13"
    assert document["profile"]["id"] == "fernhill-larch-13"
    assert [one["bus"] for one in document["coverage"]] == ["acpi", "i2c", "pci", "serio", "spi", "usb"]
    assert read(json_text(check_document(WHOLE)))["outcome"] == "whole"


def test_a_finding_carries_the_words_of_the_model() -> None:
    document = read(json_text(check_document(TOP_CASE_LOST)))
    found = {one["device"]: one for one in document["findings"]}
    assert (found["hub"]["verdict"], found["hub"]["rung"], found["hub"]["symptom"]) == ("missing", "absent", "absent")
    assert found["keyboard"]["charged_to"] == "hub"
    assert found["camera"]["symptom"] == "works below its speed or grade"


def test_a_suspect_carries_its_probability_its_ways_and_what_speaks_against_it() -> None:
    document = read(json_text(check_document(TOP_CASE_LOST)))
    cable = next(one for one in document["suspects"]["parts"] if one["part"] == "display-cable")
    assert cable["probability"] == 0.09
    assert cable["against"] == ["panel"]
    assert cable["sites"][0]["id"] == "link:display-cable"
    assert cable["sites"][0]["probability"] == 0.09
    assert cable["sites"][0]["origin"] == "invented"


def test_raw_bytes_stay_in_the_capture() -> None:
    external = replace(TOP_CASE_LOST.findings.external[0], raw={"descriptors": "1201"}, facts={"speed_kbps": 12000})
    checked = replace(TOP_CASE_LOST, findings=replace(TOP_CASE_LOST.findings, external=(external,)))
    shown = read(json_text(check_document(checked)))["external"][0]
    assert "raw" not in shown
    assert shown["facts"] == {"speed_kbps": 12000}


def test_profiles_are_listed_with_what_they_fit() -> None:
    document = read(json_text(profiles_document([PROFILE])))
    assert (document["format"], document["schema"]) == ("usbwatch-profile-list", 1)
    assert document["profiles"][0]["match"] == {"sys_vendor": ["Fernhill"], "product_name": ["Larch 13"]}


def test_a_profile_is_shown_in_the_layout_of_its_file() -> None:
    document = read(json_text(profile_document(PROFILE)))
    assert (document["format"], document["schema"]) == ("usbwatch-profile", 1)
    assert document["device"]["keyboard"]["needs"] == ["top-case-rail", "top-case-flex", "hub"]


def test_what_a_profile_can_tell_apart_stands_beside_it() -> None:
    found = discern_model(PROFILE)
    told = read(json_text(profile_document(PROFILE, found)))["localises"]
    assert [group["lost"] for group in told["groups"]] == [list(group.lost) for group in found.groups]
    (gauge,) = (group for group in told["groups"] if group["lost"] == ["battery"])
    assert (gauge["pieces"], gauge["told_apart_by"]) == (["battery-plug", "battery-pack"], ["battery-alone"])
    (display,) = (group for group in told["groups"] if group["lost"] == ["camera", "panel"])
    assert display["alike_to_all"][0]["lacking_checks"] == ["display-cable"]
    assert [each["of"] for each in told["unobserved"]] == [each.of for each in found.unobserved]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_whatever_a_string_holds_the_document_is_ascii_and_well_formed(text: str) -> None:
    written = json_text(check_document(poisoned(TOP_CASE_LOST, text)))
    assert written.isascii()
    assert all(letter == "\n" or letter.isprintable() for letter in written)
    model = read(written)["unit"]["product_name"]
    assert model == text.encode("utf-8", "backslashreplace").decode("utf-8")
    model.encode("utf-8")  # RFC 8259, section 8.2: a lone surrogate is unpredictable, so there is none


def test_values_become_what_json_knows() -> None:
    assert plain_value((Rung.BOUND, Verdict.MOVED, 1, 0.5, None, True)) == ["bound", "moved", 1, 0.5, None, True]
    unit = plain_value(UnitStrings(product_name="Larch 13"))
    assert isinstance(unit, dict)
    assert unit["product_name"] == "Larch 13"


def test_a_value_of_an_unknown_kind_is_our_mistake() -> None:
    with pytest.raises(TypeError, match="set"):
        plain_value({1, 2})


@pytest.mark.parametrize(
    "value",
    [
        [],
        {},
        [[], {}],
        {"a": {"b": []}},
        [1.5, 1e-300, 1e22, -0.0, 12345678901234567890],
        "\x00\x1b\n é \u2028",
        "\ud800",
    ],
    ids=repr,
)
def test_a_document_is_set_as_the_standard_library_sets_it(value: Any) -> None:  # noqa: ANN401 - any value of JSON
    assert json_text({"value": value}) == json.dumps({"value": value}, indent=2) + "\n"
