"""``usbwatch profile``: the known profiles, one in full, whether a file is sound, and how to make and share one."""

from __future__ import annotations

import click

from usbwatch.cli import exits
from usbwatch.cli.learn_command import learn_profile
from usbwatch.cli.options import example, json_option, profile_names
from usbwatch.cli.profile_add_command import add_profiles
from usbwatch.cli.profile_draft_command import draft_profile

__all__ = ["profile"]


@click.group(epilog=example("usbwatch profile list"))
def profile() -> None:
    """List, show, draft, learn, validate and add profiles of models."""


profile.add_command(draft_profile)
profile.add_command(learn_profile)
profile.add_command(add_profiles)


@profile.command(name="list", epilog=example("usbwatch profile list"))
@json_option
def list_profiles(*, as_json: bool) -> int:
    """List the known profiles: the shipped ones and your own."""
    from usbwatch.cli.choosing import tell_of_broken
    from usbwatch.cli.screen import show, write
    from usbwatch.profile import library
    from usbwatch.show import json_text, profile_list_view, profiles_document

    shelf = library()
    tell_of_broken(shelf)
    found = shelf.profiles
    origins = {one.id: shelf.origin(one) for one in found}
    if as_json:
        write(json_text(profiles_document(found, origins)))
    else:
        show(profile_list_view(found, origins))
    return exits.WELL


@profile.command(name="show", epilog=example("usbwatch profile show generic-clamshell"))
@click.argument("name", metavar="NAME|FILE", shell_complete=profile_names)
@click.option("--full", is_flag=True, help="Every device, with its place and what it depends on, and every hand check.")
@json_option
def show_profile(name: str, *, full: bool, as_json: bool) -> int:
    """Show what a profile can and cannot localise.

    The harness of the unit is drawn: subassemblies, and the links between them.
    """
    from usbwatch.cli.screen import page_width, show, write
    from usbwatch.localise import discern_model
    from usbwatch.profile import find
    from usbwatch.show import json_text, profile_document, profile_page, profile_view

    found = find(name)
    if as_json:
        write(json_text(profile_document(found, discern_model(found))))
    elif full:
        show(profile_view(found, page_width()))
    else:
        show(profile_page(found, discern_model(found), page_width()))
    return exits.WELL


@profile.command(name="validate", epilog=example("usbwatch profile validate my-model.toml"))
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(readable=False))
def validate(files: tuple[str, ...]) -> int:
    """Check profile files; every fault is said, with its place.

    What is sound but could be better is said as well, and what looks alike in
    a capture, with the hand check that tells it apart.

    Exit code 0: all are sound; 3: at least one is not.
    """
    from usbwatch.cli.screen import say, show
    from usbwatch.errors import UsbwatchError
    from usbwatch.localise import discern_model
    from usbwatch.profile import load, notes
    from usbwatch.show.profile_view import profile_sound_view

    code = exits.WELL
    for path in files:
        try:
            found = load(path)
            show(profile_sound_view(found, notes(found), discern_model(found)))
        except UsbwatchError as error:
            say(f"usbwatch: {error}")
            code = exits.BAD_INPUT
    return code
