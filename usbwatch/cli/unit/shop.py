"""``unit history``: what the shop's own cases say about a model."""

from __future__ import annotations

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example, json_option, profile_names
from usbwatch.cli.unit.options import opened

__all__ = ["shop_history"]


@click.command(name="history", epilog=example("usbwatch unit history", "usbwatch unit history fernhill-larch-13"))
@click.argument("model", required=False, shell_complete=profile_names)
@json_option
@book_option
def shop_history(model: str | None, *, as_json: bool, book: str | None) -> int:
    """Show how a model's units fared, and how that moves the priors.

    Every closed case with a known cause counts; how many stand behind each
    prior is said. Without MODEL: the models that the casebook has units of.
    """
    from usbwatch import profile as profiles
    from usbwatch.cli.screen import show, write
    from usbwatch.localise import grounds
    from usbwatch.show import json_text
    from usbwatch.show.history_view import history_document, history_view, models_document, models_view

    with opened(book, must_exist=True) as its:
        if model is None:
            models = its.models()
            if as_json:
                write(json_text(models_document(models)))
            else:
                show(models_view(models))
            return exits.WELL
        profile = profiles.find(model)
        told = (its.fared(profile.id), its.experience(profile.id))
    its_grounds = grounds(profile, "", told[1])
    if as_json:
        write(json_text(history_document(*told, its_grounds, profile)))
    else:
        show(history_view(*told, its_grounds, profile))
    return exits.WELL
