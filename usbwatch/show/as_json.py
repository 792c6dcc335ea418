"""Results as JSON documents, for other programs: one document, pure ASCII, no escape sequences.

Each document says its ``format`` and its integer ``schema``. The schema is
raised when a reader of the last one would go wrong; new keys may appear without that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from usbwatch.localise import contradictions
from usbwatch.localise.discerning import Discerned, Left
from usbwatch.localise.failing import Failing
from usbwatch.model import Plan, Profile, Proposal, Suspects
from usbwatch.model.changes import Changes
from usbwatch.profile import to_dict
from usbwatch.show.alike import Alike, alike
from usbwatch.show.checked import Checked
from usbwatch.show.json_values import Json, field_values, plain_value
from usbwatch.show.localised import Localised, Seen, Supposed
from usbwatch.show.story import notes
from usbwatch.show.verdict import outcome, sentence
from usbwatch.show.watched_view import watches_value

__all__ = [
    "changes_document",
    "check_document",
    "localise_document",
    "plan_value",
    "profile_document",
    "profiles_document",
    "suspects_value",
]


_SCHEMA = 1


def check_document(checked: Checked) -> dict[str, Json]:
    """A check of one unit as ``usbwatch-check``."""
    capture = checked.capture
    return {
        "format": "usbwatch-check",
        "schema": _SCHEMA,
        "tool": capture.tool,
        "taken_at": capture.taken_at,
        "unit": plain_value(capture.unit),
        **_judged(checked),
        "suspects": suspects_value(checked.suspects),
        "plan": plan_value(checked.plan),
        "repair": None if checked.repair is None else _proposal(checked.repair),
        "coverage": plain_value(capture.coverage),
        "watches": watches_value(capture),
    }


def localise_document(localised: Localised) -> dict[str, Json]:
    """What localising came to, over all captures, as ``usbwatch-localise``."""
    checked = localised.checked
    return {
        "format": "usbwatch-localise",
        "schema": _SCHEMA,
        "tool": checked.capture.tool,
        "unit": plain_value(checked.capture.unit),
        **_judged(checked),
        "captures": [_seen(one) for one in localised.seen],
        "at_hand": plain_value(localised.at_hand),
        "not_weighed": localised.not_weighed,
        "notes": plain_value(notes(localised)),
        "suspects": suspects_value(checked.suspects),
        "alike": [_alike(one) for one in alike(checked.suspects, checked.plan)],
        "plan": plan_value(checked.plan),
        "repair": None if checked.repair is None else _proposal(checked.repair),
        "supposed": _supposed(localised.supposed),
    }


def _judged(checked: Checked) -> dict[str, Json]:
    profile = checked.profile
    named = {"id": profile.id, "name": profile.name, "generic": profile.generic, "source": profile.source}
    return {
        "profile": plain_value(named),
        "outcome": outcome(checked.findings).value,
        "summary": sentence(checked.findings),
        **field_values(checked.findings, without=("profile",)),
        "contradictions": plain_value(contradictions(checked.findings, checked.profile)),
    }


def _seen(one: Seen) -> Json:
    return {
        "path": plain_value(one.path),
        "taken_at": plain_value(one.capture.taken_at),
        "steps": plain_value(one.steps),
        "answers": plain_value(one.answers),
        "watches": watches_value(one.capture),
    }


def _alike(group: Alike) -> Json:
    cheapest = group.cheapest.id if group.cheapest else None
    return {"parts": plain_value(group.parts), "cheapest_to_tell": plain_value(cheapest)}


def _supposed(supposed: Supposed | None) -> Json:
    if supposed is None:
        return None
    return {"suppositions": plain_value(supposed.suppositions), "suspects": suspects_value(supposed.suspects)}


def changes_document(changes: Changes) -> dict[str, Json]:
    """The changes between two captures as ``usbwatch-diff``."""
    return {"format": "usbwatch-diff", "schema": _SCHEMA, "changed": not changes.none, **field_values(changes)}


def profile_document(profile: Profile, discerned: Discerned | None = None) -> dict[str, Json]:
    """One profile in full, in the layout of its file: a ``usbwatch-profile`` document.

    What it can tell apart stands beside that, under ``localises``.
    """
    document = plain_value(to_dict(profile))
    assert isinstance(document, dict)
    return document | {"localises": _discerned(discerned)} if discerned else document


def _discerned(discerned: Discerned) -> Json:
    return {
        "groups": [
            {
                "lost": plain_value(group.lost),
                "pieces": plain_value(group.pieces),
                "failing": [_failing(each) for each in group.failing],
                "told_apart_by": plain_value(group.split_by),
                "alike_to_all": [_left(left) for left in group.left],
            }
            for group in discerned.groups
        ],
        "in_variants": [
            {"variant": plain_value(each.variant), "lost": plain_value(each.group.lost), "alike": _left(each.left)}
            for each in discerned.in_variants
        ],
        "shown_in_some_units": [_failing(each) for each in discerned.perhaps],
        "unobserved": [_failing(each) for each in discerned.unobserved],
        "unproven": plain_value(discerned.unproven),
        "unexplained": plain_value(discerned.unexplained),
    }


def _left(left: Left) -> Json:
    return {
        "failing": [_failing(each) for each in left.failing],
        "lacking_checks": plain_value(left.lacking),
        "in_some_units": plain_value(sorted(left.in_some_units)),
    }


def _failing(one: Failing) -> Json:
    return {
        "of": plain_value(one.of),
        "piece": plain_value(one.piece),
        "works_badly": one.works_badly,
        "told_by": plain_value(sorted(one.told_by)),
    }


def profiles_document(profiles: Sequence[Profile], origins: Mapping[str, str] | None = None) -> dict[str, Json]:
    """The known profiles as ``usbwatch-profile-list``; ``origins`` says by id where each comes from."""
    return {
        "format": "usbwatch-profile-list",
        "schema": _SCHEMA,
        "profiles": [
            {
                "id": one.id,
                "name": one.name,
                "generic": one.generic,
                "source": one.source,
                "match": plain_value(one.match.strings),
                "devices": len(one.devices),
                "path": one.path,
                "from": (origins or {}).get(one.id, ""),
                "digest": one.digest,
                "edited": one.edited,
                "basis": plain_value(to_dict(one).get("basis", {})),
            }
            for one in profiles
        ],
    }


def suspects_value(suspects: Suspects) -> Json:
    """The suspects; each way in which a part fails carries its probability."""
    document = field_values(suspects, without=("hypotheses", "parts", "cures"))
    document["parts"] = [
        {
            **field_values(one, without=("sites",)),
            "sites": [{**field_values(site), "probability": chance} for site, chance in one.sites],
        }
        for one in suspects.parts
    ]
    document["cures"] = [{"id": plain_value(one.cure.id), **field_values(one)} for one in suspects.cures]
    document["hypotheses"] = plain_value(suspects.hypotheses[:20])
    return document


def plan_value(plan: Plan) -> Json:
    """What is worth doing next; each proposal carries its id."""
    document = field_values(plan, without=("proposals",))
    document["close_call"] = plan.close_call
    document["proposals"] = [_proposal(one) for one in plan.proposals]
    return document


def _proposal(one: Proposal) -> Json:
    return {"id": plain_value(one.id), **field_values(one)}
