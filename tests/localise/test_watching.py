"""What a live watch tells of which part has failed: the trade's cases, and the exact reckoning behind them.

Common practice, no source: every ranking in this file.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from support.blinking import HUB, PLACES, blinks, event, watch, watched
from support.wired import HERON, found
from support.wired import LARCH as SMALL_LARCH

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.localise import Beliefs, believe, suspects_of
from usbwatch.localise.courses import courses
from usbwatch.localise.kinds import ACTS_IN_A_CAPTURE, ACTS_IN_A_WATCH, SiteKind
from usbwatch.localise.observations import observations
from usbwatch.localise.paths import lay_out
from usbwatch.localise.symptoms import MOVED_APART
from usbwatch.model import (
    Action,
    Capture,
    Change,
    Findings,
    Look,
    Plan,
    Profile,
    Step,
    StepKind,
    Suspects,
    Symptom,
    Watched,
)
from usbwatch.plan import plan
from usbwatch.profile import find

LARCH = find("fernhill-larch-13")
HEALTHY = load(str(Path(__file__).parents[2] / "captures" / "larch-13-healthy.json"))
SEVEN = [(20_000 + 30_000 * number, 400 + 250 * number) for number in range(7)]
ON_THE_FLEX = ("keyboard", "touchpad", "fingerprint-reader", "battery")
ON_THE_HUB = ("keyboard", "touchpad", "fingerprint-reader", "smart-card-reader")


class Told:
    """What is said of a Larch 13 after this capture."""

    def __init__(self, capture: Capture) -> None:
        self.findings = findings(capture, LARCH)
        self.beliefs: Beliefs = believe(LARCH, [Look(findings=self.findings)])
        self.suspects: Suspects = suspects_of(self.beliefs)

    def chance(self, part: str) -> float:
        """That a part is at fault."""
        return next((one.probability for one in self.suspects.parts if one.part == part), 0.0)

    def way(self, site: str) -> float:
        """That one thing has failed in one way."""
        return next((chance for one in self.suspects.parts for each, chance in one.sites if each.id == site), 0.0)

    @property
    def first(self) -> str:
        """The part suspected most."""
        return self.suspects.parts[0].part

    def plan(self) -> Plan:
        """What is then proposed."""
        return plan(self.beliefs, self.findings)


def odds(chance: float) -> float:
    """Of a chance below 1."""
    return chance / (1 - chance)


def leaving(*ids: str) -> Capture:
    return watched(HEALTHY, {PLACES[id_]: SEVEN for id_ in ids})


class TestAllOnOneFlexBlinkTogether:
    """Keyboard, touchpad, fingerprint reader and gauge; the smart card reader, on the same hub, stays."""

    told = Told(leaving(*ON_THE_FLEX))

    def test_the_flex_comes_first_and_makes_contact_only_at_times(self) -> None:
        assert self.told.first == "top-case-flex"
        assert self.told.way("loose:top-case-flex") > 10 * self.told.way("broken:top-case-flex")

    def test_torn_comes_after_it_and_before_the_hub_and_the_supply(self) -> None:
        others = ("dead:internal-hub", "rail:top-case-3v3", "section:mainboard-input", "section:top-case-board")
        assert self.told.way("broken:top-case-flex") > max(map(self.told.way, others))

    def test_the_flex_is_seen_to_before_anything_dear(self) -> None:
        deeds = [one for one in self.told.plan().proposals if one.action in (Action.RESEAT, Action.FIT, Action.SWAP)]
        assert [one.of for one in deeds[:2]] == ["top-case-flex"] * 2
        assert {Action.RESEAT, Action.FIT} == {one.action for one in deeds[:2]}


class TestOneAloneBlinks:
    """The touchpad; its neighbours on the flex stay for four minutes."""

    told = Told(leaving("touchpad"))

    def test_it_is_the_touchpad_and_not_the_flex(self) -> None:
        own = self.told.way("dead:touchpad") + self.told.way("hung:touchpad") + self.told.way("poor:touchpad")
        assert self.told.first == "top-case"
        assert own > 20 * self.told.chance("top-case-flex")

    def test_neighbours_that_stayed_say_so_more_than_neighbours_that_were_not_watched(self) -> None:
        alone = replace(HEALTHY, watches=(watch(blinks(PLACES["touchpad"], SEVEN)),))
        assert self.told.chance("top-case-flex") < 0.5 * Told(alone).chance("top-case-flex")


class TestTheHubLeavesWithAllOnIt:
    told = Told(watched(HEALTHY, {HUB: SEVEN} | {PLACES[id_]: SEVEN for id_ in ON_THE_HUB}))

    def test_it_is_the_hub_or_what_feeds_it(self) -> None:
        assert self.told.first == "mainboard"
        assert self.told.way("dead:internal-hub") > 10 * self.told.chance("top-case-flex")

    def test_what_it_took_along_is_no_evidence(self) -> None:
        assert not {each.id for each in self.told.beliefs.evidence} & set(ON_THE_HUB)


def test_a_camera_that_falls_back_while_the_lid_moves_is_the_display_cable() -> None:
    camera = PLACES["camera"]
    slower = [event(camera, Change.SLOWER, at_ms + away_ms, speed_kbps=12_000) for at_ms, away_ms in SEVEN]
    at_rest = watched(HEALTHY, {})
    events = [*blinks(camera, SEVEN), *slower]
    told = Told(replace(HEALTHY, watches=(watch(events, places=at_rest.watches[0].watched),)))
    assert told.first == "display-cable"
    assert told.chance("display-cable") > 2 * told.chance("display-assembly")


def test_what_leaves_at_other_moments_shares_the_flex_less() -> None:
    later = [(at_ms + 9_000, away_ms) for at_ms, away_ms in SEVEN]
    apart = Told(watched(HEALTHY, {PLACES["keyboard"]: SEVEN, PLACES["touchpad"]: later}))
    together = Told(leaving("keyboard", "touchpad"))
    assert odds(apart.chance("top-case-flex")) < 0.5 * odds(together.chance("top-case-flex"))
    assert apart.way("dead:keyboard") > together.way("dead:keyboard")


def test_a_watch_in_which_nothing_left_speaks_against_a_loose_contact_more_than_a_capture() -> None:
    assert Told(watched(HEALTHY, {})).way("loose:display-cable") < Told(HEALTHY).way("loose:display-cable")


def test_after_a_reseat_four_quiet_minutes_say_more_than_a_capture() -> None:
    before = Look(findings=findings(leaving(*ON_THE_FLEX), LARCH))
    reseat = (Step(kind=StepKind.RESEAT, of="top-case-flex"),)
    found_after = (findings(each, LARCH) for each in (HEALTHY, watched(HEALTHY, {})))
    looked, quiet = (suspects_of(believe(LARCH, [before, Look(findings=each, steps=reseat)])) for each in found_after)
    chances = [
        next(chance for one in each.parts for site, chance in one.sites if site.id == "loose:top-case-flex")
        for each in (looked, quiet)
    ]
    # Left alone it would have been away in 6 captures of 10 and in 8 watches of 10: twice the odds that it was not.
    assert odds(chances[1]) == pytest.approx(0.5 * odds(chances[0]), rel=0.1)


def test_moving_a_link_while_it_is_watched_is_proposed_where_it_may_be_loose() -> None:
    proposals = Told(leaving("touchpad", "keyboard")).plan().proposals
    flexing = [one for one in proposals if one.action is Action.FLEX]
    assert flexing
    assert all("usbwatch watch" in one.words for one in flexing)


# --- The reckoning -------------------------------------------------------------------------


def blinking(profile: Profile, ids: Iterable[str], **together: tuple[str, ...]) -> Findings:
    """All devices watched, these coming and going."""
    ids = set(ids)
    told = found(profile)
    return replace(
        told,
        findings=tuple(
            replace(
                one,
                symptom=Symptom.INTERMITTENT if one.device in ids else one.symptom,
                watched=Watched(
                    lasted_ms=240_000,
                    tells=True,
                    left=5 if one.device in ids else 0,
                    together=together.get(one.device.replace("-", "_"), ()),
                ),
            )
            for one in told.findings
        ),
    )


def test_the_second_that_moved_apart_counts_by_the_chance_of_that_and_its_own_causes_in_full() -> None:
    layout = lay_out(HERON)
    with_, without = (
        {each.id: each for each in observations(layout, blinking(HERON, ("keyboard", "touchpad"), **together))}
        for together in ({"touchpad": ("keyboard",), "keyboard": ("touchpad",)}, {})
    )
    assert with_["keyboard"] == without["keyboard"]
    names = [site.id for site in layout.sites]
    for one, other in zip(with_["touchpad"].hazards, without["touchpad"].hazards, strict=True):
        kind = names[one.fault].partition(":")[0]
        own = kind in ("dead", "software", "hung", "poor", "unknown") and names[one.fault].endswith(":touchpad")
        assert other.shows == pytest.approx(one.shows * (1.0 if own else MOVED_APART))
        assert other.passes == one.passes


def test_what_came_and_went_together_with_any_before_it_counts_in_full() -> None:
    layout = lay_out(HERON)
    ids = ("keyboard", "touchpad", "gauge")
    chained = {"gauge": ("touchpad",), "touchpad": ("keyboard", "gauge"), "keyboard": ("touchpad",)}
    full = {"gauge": ("keyboard", "touchpad"), "touchpad": ("keyboard",), "keyboard": ("touchpad",)}
    assert observations(layout, blinking(HERON, ids, **chained)) == observations(layout, blinking(HERON, ids, **full))


def test_a_loose_link_acts_more_often_in_a_watch() -> None:
    layout = lay_out(SMALL_LARCH)
    plain, long = (
        courses(layout.sites, [Look(findings=each)], layout.profile)
        for each in (found(SMALL_LARCH), blinking(SMALL_LARCH, ()))
    )
    for taken, often in ((plain, ACTS_IN_A_CAPTURE), (long, ACTS_IN_A_WATCH)):
        loose = [each for each in taken if layout.sites[each.site].id.startswith("loose:")]
        acting = sum(each.fault.odds for each in loose if each.acts[0]) / sum(each.fault.odds for each in loose)
        assert acting == pytest.approx(often[SiteKind.LOOSE])


def test_before_a_subassembly_is_bought_for_one_device_that_comes_and_goes_its_own_plug_is_seated_again() -> None:
    """The top case is cheap here, so that fitting a new one is proposed."""
    cheap = replace(LARCH, parts=tuple(replace(one, cost=10) if one.id == "top-case" else one for one in LARCH.parts))
    told = findings(watched(HEALTHY, {PLACES["keyboard"]: SEVEN}), cheap)
    proposed = plan(believe(cheap, [Look(findings=told)]), told).proposals
    (fit,) = (one for one in proposed if one.id == "fit:top-case")
    assert fit.words.startswith("First reseat the plug of Keyboard itself inside Top case, and watch again; else: Fit")
    assert any("Disconnect" in caution for caution in fit.cautions)
