"""Groups whose commands are imported when they are called: the help of a group needs their names alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import click

__all__ = ["OnCall", "OnCallGroup"]


@dataclass(frozen=True, kw_only=True)
class OnCall:
    """A command that is not imported yet: where it is, and the line that its group's help has for it."""

    name: str
    home: str
    """Its module, and after a colon its name there."""
    does: str


class OnCallGroup(click.Group):
    """A group of such commands, listed in their order."""

    def __init__(self, *arguments: Any, on_call: Iterable[OnCall] = (), **options: Any) -> None:  # noqa: ANN401
        super().__init__(*arguments, **options)
        self.on_call = {one.name: one for one in on_call}

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own signature
        """The names of all commands."""
        return list(self.on_call)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's own
        """The command of a name, imported; None if there is none."""
        if cmd_name not in self.on_call:
            return None
        module, _, name = self.on_call[cmd_name].home.partition(":")
        command = getattr(import_module(module), name)
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is meant, and what is left for it; where there is none, the near ones are told."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            from difflib import get_close_matches

            near = get_close_matches(args[0], self.on_call)
            if not near:
                raise
            raise click.UsageError(f"{error.message} Did you mean {' or '.join(near)}?", error.ctx) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's own
        """Write the list of commands into a help page."""
        with formatter.section("Commands"):
            formatter.write_dl([(one.name, one.does) for one in self.on_call.values()])
