"""docs/reference/commands.md, made from what click knows of each command; run as a program, it renews the page.

``PYTHONPATH=tests python -m support.commands_page``.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterator

import click
from support.make_readme import ROOT

from usbwatch.cli import usbwatch

__all__ = ["PAGE", "commands_page"]

PAGE = ROOT / "docs" / "reference" / "commands.md"

_HEAD = """\
# Commands

Every command with its arguments and options, as `--help` has them: this page is made from the program, and a test holds
it equal. `usbwatch COMMAND --help` shows the same with an example. Results go to standard output, all else to standard
error. [Exit codes](exit-codes.md), [environment variables](environment.md), [files](files.md).
"""

_MORE = {
    "capture": ("../capture.md", "../other-systems.md"),
    "check": ("../localise.md", "evidence.md"),
    "decode": ("../capture.md",),
    "demo": ("../tutorial.md",),
    "handcheck": ("../handcheck.md",),
    "kit": ("../kit.md",),
    "listen": ("../listen.md",),
    "localise": ("../localise.md", "../diagnosis.md"),
    "profile": ("../profile.md",),
    "profile draft": ("../drafting.md",),
    "profile learn": ("../learning.md",),
    "report": ("../report.md", "../privacy.md"),
    "stick": ("../stick.md",),
    "unit": ("../casebook.md",),
    "unit export": ("../casebook-archive.md",),
    "watch": ("../watch.md",),
}
"""Pages that say more of a command."""


def commands_page() -> str:
    """The whole page."""
    return "\n".join([_HEAD, *(_section(path, context) for path, context in _walked(_root())), ""])


def _root() -> click.Context:
    return click.Context(usbwatch, info_name="usbwatch", **usbwatch.context_settings)


def _walked(context: click.Context, path: str = "") -> Iterator[tuple[str, click.Context]]:
    yield path, context
    if isinstance(context.command, click.Group):
        for name in context.command.list_commands(context):
            below = context.command.get_command(context, name)
            assert below is not None
            yield from _walked(click.Context(below, parent=context, info_name=name), f"{path} {name}".strip())


def _section(path: str, context: click.Context) -> str:
    command = context.command
    pieces = [f"{'##' if ' ' not in path else '###'} {f'usbwatch {path}'.strip()}", f"    {_usage(context)}"]
    pieces += _paragraphs(command.help or "")
    if isinstance(command, click.Group):
        pieces.append(_table("command", ((f"`{name}`", _short(command, context, name)) for name in _names(context))))
    pieces.append(_table("option", _options(context)))
    pieces += _paragraphs(command.epilog or "")
    if path in _MORE:
        pieces.append("More: " + ", ".join(f"[{to.rpartition('/')[2]}]({to})" for to in _MORE[path]))
    return "\n\n".join(piece for piece in pieces if piece) + "\n"


def _usage(context: click.Context) -> str:
    return " ".join([context.command_path, *context.command.collect_usage_pieces(context)])


def _names(context: click.Context) -> list[str]:
    assert isinstance(context.command, click.Group)
    return context.command.list_commands(context)


def _short(group: click.Group, context: click.Context, name: str) -> str:
    command = group.get_command(context, name)
    assert command is not None
    return command.get_short_help_str(limit=200)


def _paragraphs(text: str) -> list[str]:
    """The paragraphs of a help text; those that click leaves as they are typed stay so."""
    return [_paragraph(one) for one in inspect.cleandoc(text).split("\n\n") if one.strip()]


def _paragraph(text: str) -> str:
    if not text.startswith("\b\n"):
        return " ".join(text.split()).replace("<", "&lt;")
    head, *lines = text.removeprefix("\b\n").splitlines()
    if not head.endswith(":"):
        return " ".join([head, *lines])
    return f"{head}\n\n" + "\n".join(f"    {line.removeprefix('  ')}" for line in lines)


def _options(context: click.Context) -> Iterator[tuple[str, str]]:
    for parameter in context.command.get_params(context):
        if isinstance(parameter, click.Option) and not parameter.hidden:
            spelled = f"{', '.join(parameter.opts)} {_value(parameter)}".strip()
            told = _told(parameter, context).replace("|", "\\|").replace("<", "&lt;")
            yield "`" + spelled.replace("|", "\\|") + "`", told


def _value(option: click.Option) -> str:
    """What stands behind an option."""
    if option.is_flag:
        return ""
    if isinstance(option.type, click.Choice):
        return f"[{'|'.join(map(str, option.type.choices))}]"
    return option.metavar or option.type.name.upper()


def _told(option: click.Option, context: click.Context) -> str:
    """What an option's help says, with its bounds and, where the help shows it, its default."""
    bounds = ""
    if isinstance(option.type, click.IntRange | click.FloatRange):
        lowest, highest = option.type.min, option.type.max
        above = f"{'more than' if option.type.min_open else 'at least'} {lowest}" if lowest is not None else ""
        bounds = " and ".join(words for words in (above, f"at most {highest}" if highest is not None else "") if words)
    shown = option.show_default if isinstance(option.show_default, str) else option.get_default(context)
    default = f"default {shown}" if option.show_default else ""
    more = "; ".join(words for words in (bounds, default) if words)
    return f"{option.help} ({more})" if more else option.help or ""


def _table(of: str, rows: Iterator[tuple[str, str]]) -> str:
    lines = [f"| {first} | {second} |" for first, second in rows]
    return "\n".join([f"| {of} | |", "| --- | --- |", *lines]) if lines else ""


if __name__ == "__main__":
    PAGE.write_text(commands_page(), "utf-8")
