"""``usbwatch check``: compare a unit with its profile and say where the fault lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli.answers import each, parsed_own_answer, refused_step
from usbwatch.cli.options import (
    book_option,
    example,
    json_option,
    log_option,
    profile_names,
    root_option,
    through_option,
)

if TYPE_CHECKING:
    from usbwatch.cli.one_check import CheckRequest

__all__ = ["check"]


@click.command(epilog=example("usbwatch check", "usbwatch check before.json --answer runs-on-battery=yes"))
@click.argument("captures", nargs=-1, metavar="[CAPTURE|UNIT]...", type=click.Path(allow_dash=True, readable=False))
@root_option
@log_option
@through_option
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Compare with this profile.")
@click.option(
    "--answer",
    "given",
    multiple=True,
    callback=each(parsed_own_answer),
    metavar="CHECK=yes|no",
    help="What a hand check showed; repeatable, twice if tried twice.",
)
@book_option
@click.option("--did", multiple=True, hidden=True, expose_value=False, callback=each(refused_step))
@json_option
def check(
    captures: tuple[str, ...],
    root: str | None,
    log: str | None,
    *,
    through: str | None,
    profile: str | None,
    given: tuple[tuple[str, bool], ...],
    book: str | None,
    as_json: bool,
) -> int:
    """Compare a unit with its profile: what is wrong, and where.

    Without CAPTURE this machine is captured first, or the tree given by --root.
    The profile is chosen by what firmware calls the unit. Several captures are
    checked by all cores, and told in their order; the exit code is that of the worst.

    A UNIT is one of the casebook, by its label: all that was seen of it and done
    to it is weighed, and it is compared with its own baseline first.
    """
    from usbwatch.cli.one_check import CheckRequest

    if captures and (root or log or through):
        raise click.UsageError(
            "--root, --log and --through are for capturing now; leave them out when a CAPTURE is given."
        )
    request = CheckRequest(
        root=root,
        log=log,
        through=through,
        profile=profile,
        given=given,
        book=book,
        as_json=as_json,
        may_ask=not as_json and len(captures) < 2,  # noqa: PLR2004 - several
    )
    if len(captures) > 1:
        from usbwatch.cli.many_checks import check_many

        return check_many(captures, request)
    return _check_one(captures[0] if captures else None, request)


def _check_one(path: str | None, request: CheckRequest) -> int:
    from usbwatch.cli.one_check import code_of, document_of, page_of, result_of
    from usbwatch.cli.screen import show, write
    from usbwatch.show import json_text

    result = result_of(path, request)
    if request.as_json:
        write(json_text(document_of(result)))
    else:
        show(page_of(result))
    return code_of(result)
