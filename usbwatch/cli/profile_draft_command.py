"""``usbwatch profile draft``: a profile from one good unit, to be gone through by a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, log_option, root_option

if TYPE_CHECKING:
    from usbwatch.drafting import Draft, Layout
    from usbwatch.model import Capture, Profile

__all__ = ["draft_profile", "known_layout"]


class _Command(click.Command):
    """A command whose help ends with what each layout template assumes."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        from usbwatch.drafting import LAYOUTS

        with formatter.section("Layouts"):
            for layout in LAYOUTS.values():
                formatter.write_text(f"{layout.id}: {layout.name}")
                with formatter.indentation():
                    for sentence in layout.assumes:
                        formatter.write_text(sentence)
        super().format_epilog(ctx, formatter)


def known_layout(_context: click.Context, _parameter: click.Parameter, given: str | None) -> str | None:
    """The id of a layout as it was given; raises click's ``BadParameter`` for one that is none."""
    from usbwatch.drafting import LAYOUTS

    if given is not None and given not in LAYOUTS:
        raise click.BadParameter(f"{given!r} is no layout; known ones: {', '.join(LAYOUTS)}.")
    return given


@click.command(
    name="draft",
    cls=_Command,
    epilog=example(
        "usbwatch profile draft good-unit.json --output my-model.toml",
        "usbwatch profile draft second-unit.json --update my-model.toml",
    ),
)
@click.argument("capture", required=False, metavar="[CAPTURE]", type=click.Path(allow_dash=True, readable=False))
@root_option
@log_option
@click.option(
    "--layout",
    callback=known_layout,
    metavar="LAYOUT",
    help="How the unit is built: clamshell, separate-keyboard, detachable or all-in-one (below). "
    "Not given: by what firmware calls its chassis.",
)
@click.option("--output", "-o", metavar="FILE", help="Write here instead of standard output; nothing is overwritten.")
@click.option("--update", metavar="FILE", help="Add to this edited profile what it lacks; every line of it is kept.")
def draft_profile(
    capture: str | None,
    root: str | None,
    log: str | None,
    *,
    layout: str | None,
    output: str | None,
    update: str | None,
) -> int:
    """Draft the profile of a model from a capture of one good unit.

    Without CAPTURE this machine is looked at, or the tree given by --root. The
    draft names every device that belongs to the unit, where it sits, and what
    that was told by; your own devices in its sockets are left out. What usbwatch
    cannot know (prices, times, which cable carries what) stands there to be
    filled in or corrected.
    """
    if capture is not None and (root or log):
        raise click.UsageError("--root and --log are for capturing now; leave them out when a CAPTURE is given.")
    if output and update:
        raise click.UsageError("--output writes a new file and --update changes one; give one of them.")
    from usbwatch.cli.taking import loaded, taken

    seen = loaded(capture) if capture is not None else taken(root, log)
    if update is not None:
        _update(update, seen, layout)
    else:
        _write(_drafted(seen, layout), output)
    return exits.WELL


def _drafted(seen: Capture, layout: str | None, into: Profile | None = None) -> Draft:
    """The draft, its layout and all that it rests on said on standard error; ``into`` is the profile to add it to."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.taking import now
    from usbwatch.drafting import LAYOUTS, census, draft, layout_for, notices, text_of
    from usbwatch.profile import parse
    from usbwatch.show import safe

    counted = census(seen)
    chosen = LAYOUTS[layout] if layout else layout_for(seen.unit.chassis_type)
    made = draft(seen, chosen, today=now()[:10], counted=counted)
    if layout is None:
        others = ", ".join(one for one in LAYOUTS if one != chosen.id)
        told = f"chassis type {safe(seen.unit.chassis_type)}"
        why = told if _is_told(seen, chosen) else "firmware tells no kind of chassis"
        say(f"usbwatch: layout {chosen.id} ({why}); --layout takes {others}, too.")
    for sentence in notices(seen, made, parse(text_of(made), "the draft"), counted, into=into):
        say(f"usbwatch: {sentence}")
    return made


def _is_told(seen: Capture, layout: Layout) -> bool:
    """Whether firmware's word for the chassis is why a layout was chosen."""
    return seen.unit.chassis_type.strip() in layout.chassis_types


def _write(made: Draft, output: str | None) -> None:
    from usbwatch.cli.screen import say, write
    from usbwatch.cli.writing import write_file
    from usbwatch.drafting import text_of
    from usbwatch.profile import shown_path

    if output is None:
        write(text_of(made))
        return
    write_file(output, text_of(made), remedy=f"choose another name, or add to it with --update {output}")
    shown = shown_path(output)
    say(f"usbwatch: {shown} is drafted; go through it, then: usbwatch profile add {shown}")


def _update(path: str, seen: Capture, layout: str | None) -> None:
    """Work a draft into an edited file, and say what is new, what was not seen, and what differs."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.writing import write_file
    from usbwatch.drafting import updated
    from usbwatch.profile import parse, sealed, shown_path, text_in
    from usbwatch.show import safe

    before = text_in(path)
    profile = parse(before, path)
    _refuse_another_model(path, profile, seen)
    _refuse_without_subassemblies(path, profile)
    result = updated(before, profile, _drafted(seen, layout, into=profile))
    for sentence in result.remarks:
        say(f"usbwatch: {safe(sentence, 2000)}")
    if result.unseen:
        say(f"usbwatch: kept, though this capture does not show it: {', '.join(result.unseen)}.")
    if result.text == before:
        say(f"usbwatch: {shown_path(path)} is unchanged: this capture shows nothing to add.")
        return
    _refuse_unsound(path, result.text)
    after = sealed(result.text) if profile.digest else result.text
    write_file(path, after, force=True, remedy="choose a file that can be written")
    say(f"usbwatch: added to {shown_path(path)}: {', '.join(result.added)}.")


def _refuse_another_model(path: str, profile: Profile, seen: Capture) -> None:
    """Raise ``BadProfile`` when the unit calls itself something that the profile is not for."""
    from usbwatch.errors import BadProfile
    from usbwatch.profile import fits
    from usbwatch.show.words import unit_name

    if profile.match.strings and not fits(profile, seen.unit):
        problem = (
            f"is not for the captured unit ({unit_name(seen.unit)}); give a capture of its own model, or add what that"
            " unit calls itself to [match] first"
        )
        raise BadProfile(path, (("match", problem),))


def _refuse_without_subassemblies(path: str, profile: Profile) -> None:
    """Raise ``BadProfile`` for a file in which a device has nowhere to sit."""
    from usbwatch.errors import BadProfile
    from usbwatch.model import PartKind

    if not any(part.kind is PartKind.SUBASSEMBLY for part in profile.parts):
        problem = (
            "there is none, so a device has nowhere to sit; name the unit's subassemblies first, or draft a new file"
        )
        raise BadProfile(path, (("subassembly", problem),))


def _refuse_unsound(path: str, text: str) -> None:
    """Raise ``BadProfile`` when a file with what was added to it would be no sound profile."""
    from usbwatch.errors import BadProfile
    from usbwatch.profile import parse

    try:
        parse(text, path)
    except BadProfile as error:
        problem = (
            "with the new devices it would be no sound profile, so it is left as it is; write each of its devices as a"
            " table of its own, [device.ID], and try again"
        )
        raise BadProfile(path, (("device", problem),)) from error
