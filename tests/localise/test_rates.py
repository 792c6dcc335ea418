"""Closed cases move the priors: by the textbook's rule, within bounds, and not at all where there are none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta
from support.wired import HERON, LARCH, device

from benchmarks import learnt_rates
from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.localise import classes_of, grounds, site_class, supposing, suspects
from usbwatch.localise.paths import lay_out
from usbwatch.localise.rates import (
    CLASS_STRENGTH,
    MOST_UNITS,
    SITE_STRENGTH,
    learnt,
    units_per_case,
)
from usbwatch.localise.sites import PRIORS, SiteKind, sites
from usbwatch.localise.ways import ways
from usbwatch.model import Experience, Look, Match, Profile, Tally, Variant
from usbwatch.profile import find

MODEL = find("fernhill-larch-13")
CAPTURE = Path(__file__).parents[2] / "captures" / "larch-13-top-case-lost.json"
FLEX, BOARD = "open:top-case-flex", "section:mainboard-input"
UNITS = units_per_case(ways(MODEL))

counts = st.integers(0, 10_000)
tallies = st.builds(lambda exposed, share: Tally(failed=int(exposed * share), exposed=exposed), counts, st.floats(0, 1))
experiences = st.builds(
    lambda own, others, classes, shares: Experience(
        cases=others,
        classes=classes,
        own=own,
        sites={site: int(own * share) for site, share in shares.items()},
    ),
    counts,
    counts,
    st.dictionaries(st.sampled_from(sorted(set(classes_of(MODEL).values()))), tallies),
    st.dictionaries(st.sampled_from(sorted(classes_of(MODEL))), st.floats(0, 1)),
)


def priors(experience: Experience | None, profile: Profile = MODEL) -> dict[str, float]:
    return {site.id: site.prior for site in sites(profile, experience)}


class TestTheRule:
    """The conjugate update of a binomial share, against a textbook's table and a general library."""

    # A. Gelman and others, "Bayesian Data Analysis", section 2.4, table 2.1: of 980 births with placenta praevia 437
    # were girls; the posterior of their share under five priors. Figures from memory, so scipy works them out as well.
    @pytest.mark.parametrize(
        ("mean", "strength", "median", "low", "high"),
        [
            (0.500, 2, 0.446, 0.415, 0.477),
            (0.485, 2, 0.446, 0.415, 0.477),
            (0.485, 5, 0.446, 0.415, 0.477),
            (0.485, 10, 0.446, 0.415, 0.477),
            (0.485, 20, 0.447, 0.416, 0.478),
            (0.485, 100, 0.450, 0.420, 0.479),
            (0.485, 200, 0.453, 0.424, 0.481),
        ],
    )
    def test_girls_among_births_with_placenta_praevia(
        self, mean: float, strength: float, median: float, low: float, high: float
    ) -> None:
        told = learnt(mean, strength, 437, 980)
        posterior = beta(mean * strength + 437, (1 - mean) * strength + 980 - 437)
        assert told == pytest.approx(posterior.mean(), rel=1e-12)
        # Mean and median of so narrow a distribution are the same to the digits of the table.
        assert told == pytest.approx(median, abs=6e-4)
        assert [posterior.median(), *posterior.interval(0.95)] == pytest.approx([median, low, high], abs=6e-4)

    @pytest.mark.properties
    @given(st.floats(1e-6, 0.5), st.floats(0.1, 1000), tallies)
    def test_it_is_the_mean_of_the_posterior(self, mean: float, units: float, tally: Tally) -> None:
        posterior = beta(mean * units + tally.failed, (1 - mean) * units + tally.exposed - tally.failed)
        assert learnt(mean, units, tally.failed, tally.exposed) == pytest.approx(posterior.mean(), rel=1e-9)

    def test_both_levels_by_hand(self) -> None:
        """3 of 41 cases of the model, after 5 of 500 such links in 60 cases of others."""
        seen = Experience(cases=60, classes={"open": Tally(failed=5, exposed=500)}, own=41, sites={FLEX: 3})
        start, weight = PRIORS[SiteKind.OPEN], 1.5  # the weight stands in the shipped profile, beside this flex
        begun = weight * (CLASS_STRENGTH + 5) / (CLASS_STRENGTH / start + 500 * UNITS)
        prior = (SITE_STRENGTH + 3) / (SITE_STRENGTH / begun + 41 * UNITS)
        assert SITE_STRENGTH / begun < MOST_UNITS
        assert priors(seen)[FLEX] == pytest.approx(prior, rel=1e-12)

    def test_a_site_without_cases_of_its_own_follows_its_class_times_the_weight(self) -> None:
        heavy = replace(LARCH, devices=(device("camera", "camera", "display", weight=2.5),))
        seen = Experience(cases=90, classes={"dead:camera": Tally(failed=9, exposed=90)})
        units = 90 * units_per_case(ways(heavy))
        of_class = (CLASS_STRENGTH + 9) / (CLASS_STRENGTH / PRIORS[SiteKind.DEAD] + units)
        assert priors(seen, heavy)["dead:camera"] == pytest.approx(2.5 * of_class, rel=1e-12)

    def test_a_very_small_start_is_unlearnt_in_the_end(self) -> None:
        """A profile that says of a part that it never fails does not stand against nine cases of ten."""
        never = replace(LARCH, devices=(device("camera", "camera", "display", weight=1e-9),))
        assert priors(None, never)["dead:camera"] == 1e-6
        assert priors(Experience(own=10, sites={"dead:camera": 9}), never)["dead:camera"] > 5e-3


class TestWhatHoldsOfAnyExperience:
    @pytest.mark.parametrize("profile", [MODEL, HERON, LARCH], ids=["larch-13", "heron", "larch"])
    def test_without_a_case_every_site_is_what_it_was(self, profile: Profile) -> None:
        assert sites(profile, Experience()) == sites(profile, None) == sites(profile)

    @pytest.mark.properties
    @given(experiences)
    def test_probabilities_stay_in_bounds(self, seen: Experience) -> None:
        assert all(1e-6 <= prior <= 0.5 for prior in priors(seen).values())

    @pytest.mark.properties
    @given(st.integers(), st.integers(), st.integers(), st.integers(), st.integers())
    def test_counts_that_cannot_be_do_no_harm(self, own: int, failed: int, exposed: int, here: int, cases: int) -> None:
        seen = Experience(
            cases=cases, classes={"open": Tally(failed=failed, exposed=exposed)}, own=own, sites={FLEX: here}
        )
        assert all(1e-6 <= prior <= 0.5 for prior in priors(seen).values())

    @pytest.mark.properties
    @given(experiences, st.sampled_from(sorted(classes_of(MODEL))), st.integers(1, 100))
    def test_more_failures_never_make_a_failure_less_likely(self, seen: Experience, site: str, more: int) -> None:
        failed = min(seen.own, seen.sites.get(site, 0) + more)
        worse = replace(seen, sites={**seen.sites, site: failed})
        assert priors(worse)[site] >= priors(seen)[site]

    @pytest.mark.properties
    @given(experiences, st.sampled_from(sorted(classes_of(MODEL))), st.integers(1, 100))
    def test_nor_do_more_failures_in_other_models(self, seen: Experience, site: str, more: int) -> None:
        of_class = classes_of(MODEL)[site]
        tally = seen.classes.get(of_class, Tally(exposed=100))
        seen = replace(seen, classes={**seen.classes, of_class: tally})
        worse = Tally(failed=min(tally.exposed, tally.failed + more), exposed=tally.exposed)
        now = priors(replace(seen, classes={**seen.classes, of_class: worse}))
        assert now[site] >= priors(seen)[site] * (1 - 1e-12)

    @pytest.mark.properties
    @given(st.sampled_from(sorted(classes_of(MODEL))), st.floats(0.01, 0.6))
    def test_with_many_cases_the_prior_is_the_observed_rate(self, site: str, share: float) -> None:
        """A case counts for the units that it takes to have one with a fault; the rate is of those."""
        gaps = []
        for cases in (100, 10_000, 1_000_000):
            failed = round(share * cases)
            gaps.append(abs(priors(Experience(own=cases, sites={site: failed}))[site] * UNITS - failed / cases))
        assert gaps[-1] < 0.002
        assert gaps[-1] <= gaps[0] + 1e-4

    @pytest.mark.properties
    @given(experiences)
    def test_what_the_profile_does_not_know_keeps_its_prior(self, seen: Experience) -> None:
        seen = replace(seen, classes={**seen.classes, "unknown:keyboard": Tally(failed=9, exposed=9)})
        left = {site: prior for site, prior in priors(seen).items() if site.startswith("unknown:")}
        assert left == dict.fromkeys(left, PRIORS[SiteKind.UNKNOWN])

    def test_cases_that_fail_just_as_expected_change_nothing(self) -> None:
        """Were a case counted for one unit, every prior would rise with every case, though all of them are right."""
        cases, then = 10**9, priors(None)
        expected = {id_: round(then[id_] * UNITS * cases) for id_ in classes_of(MODEL)}
        now = priors(Experience(own=cases, sites=expected))
        assert now == pytest.approx(then, rel=1e-4)

    def test_a_profile_that_names_hardly_anything_learns_all_the_same(self) -> None:
        bare = replace(LARCH, parts=(), devices=(device("pen", "pen", "case", weight=0),), checks=())
        assert priors(Experience(own=100, sites={"dead:pen": 90}), bare)["dead:pen"] > 0.04
        assert priors(Experience(own=100), replace(bare, devices=())) == {}


class TestClasses:
    @pytest.mark.parametrize(
        ("kind", "function", "class_"),
        [
            (SiteKind.DEAD, "keyboard", "dead:keyboard"),
            (SiteKind.SOFTWARE, "camera", "software:camera"),
            (SiteKind.HUNG, "touchpad", "hung:touchpad"),
            (SiteKind.POOR, "keyboard", "poor:keyboard"),
            (SiteKind.POOR, "", "poor"),
            (SiteKind.OPEN, "", "open"),
            (SiteKind.DANGER, "", "danger"),
        ],
        ids=lambda value: value.value if isinstance(value, SiteKind) else None,
    )
    def test_a_device_is_of_its_function_and_a_part_of_its_kind(
        self, kind: SiteKind, function: str, class_: str
    ) -> None:
        assert site_class(kind, function) == class_

    @pytest.mark.parametrize("profile", [MODEL, HERON, LARCH], ids=["larch-13", "heron", "larch"])
    def test_every_site_that_a_case_can_name_has_one(self, profile: Profile) -> None:
        nameable = {site.id for site in sites(profile) if not site.id.startswith("unknown:")}
        assert set(classes_of(profile)) == nameable

    def test_a_variant_has_none_for_what_it_lacks(self) -> None:
        plain = Variant(id="plain", name="plain", match=Match(), without=("fingerprint",))
        profile = replace(LARCH, variants=(plain,))
        gone = set(classes_of(profile)) - set(classes_of(profile, "plain"))
        assert gone == {f"{kind}:fingerprint" for kind in ("software", "hung", "dead")}


class TestWhereAPriorComesFrom:
    @pytest.mark.parametrize(
        ("seen", "origin"),
        [
            (Experience(), "elicited, no source"),
            (Experience(own=41, sites={FLEX: 3}), "3 of 41 closed cases of this model, from an elicited 0.012"),
            (Experience(own=1, sites={FLEX: 1}), "1 of 1 closed case of this model, from an elicited 0.012"),
            (Experience(own=12), "0 of 12 closed cases of this model, from an elicited 0.012"),
            (
                Experience(cases=1, classes={"open": Tally(failed=0, exposed=4)}),
                "0 of 4 of its kind in 1 closed case of other models, from an elicited 0.012",
            ),
            (
                Experience(cases=60, classes={"open": Tally(failed=5, exposed=230)}, own=41, sites={FLEX: 3}),
                (
                    "3 of 41 closed cases of this model, 5 of 230 of its kind in 60 closed cases of other models, "
                    "from an elicited 0.012"
                ),
            ),
            (Experience(cases=9, classes={"dead:fan": Tally(failed=1, exposed=9)}), "elicited, no source"),
        ],
        ids=["no case", "of this model", "one case", "none of them", "of others", "of both", "of another kind"],
    )
    def test_it_says_what_was_counted(self, seen: Experience, origin: str) -> None:
        assert {site.id: site.origin for site in sites(LARCH, seen)}[FLEX] == origin

    def test_the_profiles_weight_is_still_told(self) -> None:
        weighted = replace(LARCH, devices=(device("camera", "camera", "display", weight=2.5),))
        told = {site.id: site.origin for site in sites(weighted, Experience(own=2, sites={"dead:camera": 1}))}
        assert told["dead:camera"] == (
            "1 of 2 closed cases of this model, from an elicited 0.01; times 2.5, the profile's weight"
        )

    def test_the_account_of_each_site_agrees_with_its_prior(self) -> None:
        seen = Experience(cases=60, classes={"open": Tally(failed=5, exposed=230)}, own=41, sites={FLEX: 3})
        told = grounds(MODEL, "", seen)
        assert {id_: each.prior for id_, each in told.items()} == priors(seen)
        assert (told[FLEX].own, told[FLEX].others, told[FLEX].other_cases) == (
            Tally(failed=3, exposed=41),
            Tally(failed=5, exposed=230),
            60,
        )
        assert told[FLEX].counted
        assert not told["unknown:keyboard"].counted


class TestARealUnit:
    """Invented unit of the shipped model: keyboard, touchpad, fingerprint reader and gauge are lost."""

    found = findings(load(str(CAPTURE)), MODEL, ())

    def chances(self, seen: Experience | None) -> dict[str, float]:
        return {one.part: one.probability for one in suspects(self.found, MODEL, experience=seen).parts}

    def test_a_shop_whose_larches_had_bad_flexes_suspects_the_flex_more(self) -> None:
        before, now = self.chances(None), self.chances(Experience(own=10, sites={FLEX: 9}))
        assert now["top-case-flex"] > before["top-case-flex"]
        assert now["mainboard"] < before["mainboard"]

    def test_one_whose_larches_had_bad_boards_suspects_the_board_before_the_flex(self) -> None:
        now = self.chances(Experience(own=10, sites={BOARD: 9}))
        assert next(iter(now)) == "mainboard"
        assert now["mainboard"] > now["top-case-flex"]

    def test_no_experience_is_the_same_as_none(self) -> None:
        assert suspects(self.found, MODEL, experience=Experience()) == suspects(self.found, MODEL)

    def test_a_supposition_rests_on_the_same_cases(self) -> None:
        seen = Experience(own=10, sites={BOARD: 9})
        told = supposing(MODEL, (Look(findings=self.found),), ["camera working"], experience=seen)
        assert told.layout.sites == lay_out(MODEL, self.found.variant, seen).sites


class TestWhatItIsWorth:
    """Invented units that fail by their own rates; the measured figures stand in docs/diagnosis.md."""

    def test_closed_cases_bring_suspects_nearer_where_the_elicited_rates_are_off(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(learnt_rates, "FRESH", 100)
        off = learnt_rates.World(name="classes off", class_by=3.0)
        told = {label: score.loss for label, score in learnt_rates.scored(off, "one-piece-top-case", 1)}
        assert told["the true rates"] < told["300 cases of the model"] < told["elicited"]
        assert told["400 cases of 4 other models"] < told["elicited"]
