"""From captures to what they come to: as the commands say it, with the stick's own profiles and closed cases."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from onboard.runs import switched_on
from onboard.scenes import capture

from usbwatch import profile as profiles
from usbwatch.cli.weighing import weighed
from usbwatch.errors import BadSettings
from usbwatch.model import Answer, Experience, Observation, Step, StepKind
from usbwatch.onboard.judging import NOT_KNOWN, Case, can_weigh, judged_case, with_capture
from usbwatch.show import Seen
from usbwatch.stick.experience import experience_json, read_experience

LOST = Seen(capture=capture("larch-13-top-case-lost"))
HEALTHY = Seen(capture=capture("larch-13-healthy"))
SWAPPED = Seen(capture=capture("larch-13-after-top-case"), steps=(Step(kind=StepKind.SWAP, of="top-case"),))


def test_two_looks_are_weighed_as_localise_weighs_them() -> None:
    case = with_capture(with_capture(Case(), LOST, "look-1"), SWAPPED, "look-2")
    judged = judged_case(case, None)
    expected, _ = weighed([LOST, SWAPPED], profiles.find("fernhill-larch-13"), insisted=False)
    assert judged.localised == expected


def test_a_model_that_no_profile_is_for_is_compared_with_the_generic_one_and_that_is_said(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A stick's folder of profiles may be empty; the shipped ones are there."""
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path))
    case = judged_case(with_capture(Case(), Seen(capture=capture("larch-13-healthy")), "look-1"), None)
    assert case.notices == ()
    assert case.localised is not None
    assert case.localised.checked.profile.id == "fernhill-larch-13"

    other = replace(HEALTHY.capture, unit=replace(HEALTHY.capture.unit, product_name="Wren 11"))
    case = judged_case(with_capture(Case(), Seen(capture=other), "look-1"), None)
    assert case.localised is not None
    assert case.localised.checked.profile.generic
    assert case.notices == (NOT_KNOWN,)


def test_a_profile_that_cannot_be_read_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "broken.toml").write_text("id = ")
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path))
    case = judged_case(with_capture(Case(), LOST, "look-1"), None)
    assert case.notices == ("1 profile on this stick could not be read.",)


def test_a_profile_that_was_picked_holds_and_leaves_out_what_it_does_not_know() -> None:

    answered = replace(SWAPPED, answers=(Answer(check="no-such-check", yes=True),))
    case = with_capture(with_capture(Case(picked="generic-clamshell"), LOST, "look-1"), answered, "look-2")
    judged = judged_case(case, None)
    assert judged.localised is not None
    assert judged.localised.checked.profile.id == "generic-clamshell"
    assert judged.localised.seen[1].answers == ()


def test_closed_cases_of_the_stick_are_weighed(tmp_path: Path) -> None:
    profile = profiles.find("fernhill-larch-13")
    experience = Experience(own=40, sites={"dead:touchpad": 1, "open:top-case-flex": 39})
    path = tmp_path / "experience.json"
    path.write_text(experience_json({profile.id: experience}))
    assert read_experience(str(path), profile.id) == experience
    assert read_experience(str(path), "ostrey-plover-12") is None
    case = with_capture(Case(), LOST, "look-1")
    with_it = judged_case(case, str(path)).localised
    assert with_it == weighed([LOST], profile, insisted=False, experience=experience)[0]
    assert with_it != judged_case(case, None).localised


WRONG = {"nothing": "", "no document": "[1]", "another format": "{}", "a text for a count": "", "deep": "[" * 99_999}


@pytest.mark.parametrize("text", WRONG.values(), ids=WRONG)
def test_closed_cases_that_cannot_be_read_are_left_out(text: str, tmp_path: Path) -> None:
    path = tmp_path / "experience.json"
    path.write_text(text or experience_json({"fernhill-larch-13": Experience()}).replace('"own": 0', '"own": "x"'))
    with pytest.raises(BadSettings):
        read_experience(str(path), "fernhill-larch-13")
    (notice,) = judged_case(with_capture(Case(), LOST, "look-1"), str(path)).notices
    assert "closed cases" in notice


def test_what_a_hand_proved_stays_proven_until_something_is_done() -> None:

    from usbwatch.model import Deed, Response

    proved = Observation(
        function="keyboard",
        deed=Deed.PRESS,
        response=Response.ANSWERED,
        observed_at="2026-03-02T09:14:00Z",
        location="x",
    )
    first = replace(LOST, capture=replace(LOST.capture, observations=(proved,)))
    case = with_capture(with_capture(Case(), first, "look-1"), LOST, "look-2")
    assert case.seen[1].capture.observations == (proved,)
    case = with_capture(case, SWAPPED, "look-3")
    assert case.seen[2].capture.observations == ()


# Flags of QEMU's own processor "qemu64" and of "Nehalem", as Linux prints them (shortened).
OLD = "flags\t\t: fpu de pse tsc msr pae mce cx8 apic sep mmx fxsr sse sse2 ht syscall nx lm pni cx16 hypervisor\n"
NEW = "flags\t\t: fpu sse sse2 syscall nx lm pni ssse3 cx16 sse4_1 sse4_2 popcnt lahf_lm\n"


@pytest.mark.parametrize(("told", "can"), [(OLD, False), (NEW, True), ("processor : 0\n", True)])
def test_a_processor_that_is_too_old_is_known_before_it_ends_the_program(
    told: str, tmp_path: Path, *, can: bool
) -> None:
    (tmp_path / "cpuinfo").write_text(told)
    assert can_weigh(tmp_path / "cpuinfo") is can


def test_on_such_a_processor_the_capture_is_saved_and_nothing_touches_numpy(tmp_path: Path) -> None:
    """Another program that forbids NumPy stands in for the processor: with it, the old one dies of SIGILL."""
    program = (
        "import sys; sys.modules['numpy'] = None\n"
        "import usbwatch.onboard.running as running; running.can_weigh = lambda: False\n"
        "from usbwatch.onboard.starting import main; sys.exit(main(sys.argv[4:], 0.0))"
    )
    (tmp_path / "stick").mkdir()
    before = [sys.executable, "-c", program]
    tree = tmp_path / "tree/sys/class/dmi/id"
    tree.mkdir(parents=True)
    (tree / "product_name").write_text("Larch 13\n")
    with switched_on(tmp_path / "tree", tmp_path / "stick", before=before) as machine:
        machine.until_shown("NO ANSWER")
        machine.until_shown("this unit's processor is older than what the weighing is made for")
        machine.until_shown("Saved on this stick")
        assert machine.switch_off() == 7
    (saved,) = (tmp_path / "stick/captures").glob("*.json")
    assert saved.name.startswith("larch-13-")
    (text,) = (tmp_path / "stick/captures").glob("*.txt")
    assert "Judge the capture at the bench." in " ".join(text.read_text("ascii").split())


def test_the_first_screen_needs_nothing_that_takes_a_while_to_import() -> None:
    heavy = ("numpy", "msgspec", "rich", "jinja2", "click", "tomlkit", "usbwatch.compare", "usbwatch.localise")
    program = f"import sys, usbwatch.onboard.starting; print([one for one in {heavy!r} if one in sys.modules])"
    done = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "[]"
