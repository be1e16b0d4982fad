"""The program's commands, put together. Importing this loads typer and nothing else of weight.

The modules of the commands do not defer their annotations (PEP 563): typer would have to compile every one of them
again whenever the program starts, which took three quarters of the time in which it puts the commands together.
"""

import inspect
import re
from collections.abc import Callable
from typing import Annotated, Any

import typer
import typer.core
import typer.main

from basemap import __version__
from basemap.cli import (
    adapt,
    card,
    check,
    compare,
    dead_time,
    demo,
    explain,
    fuel,
    injector,
    learn,
    new,
    rank,
    schema,
    sensors,
)
from basemap.cli.output import say

app = typer.Typer(
    name="basemap",
    add_completion=False,
    no_args_is_help=True,
    # Plain help: it needs no further package, and reads the same in a pipe and on a dumb terminal.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    # Typer's own --help of a program with commands loads pydantic, which the help of a command then pays for.
    context_settings={"help_option_names": []},
)


def _version(asked: bool) -> None:
    if asked:
        say(f"basemap {__version__}\n")
        raise typer.Exit


def _show_help(context: typer.Context, asked: bool) -> None:
    if asked:
        say(context.get_help() + "\n")
        raise typer.Exit


def _help(command: Callable[..., None]) -> str:
    """The docstring of a command; a paragraph with a list in it keeps its lines."""
    return re.sub(r"\n\n(?=[^\n]+:\n  )", "\n\n\b\n", inspect.cleandoc(command.__doc__ or ""))


def basemap(
    version: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_version, help="Print the version and exit.")
    ] = False,
    help_: Annotated[
        bool, typer.Option("--help", "-h", is_eager=True, callback=_show_help, help="Show this message and exit.")
    ] = False,
) -> None:
    """Carry a fuel table from one engine (the donor) to another (the target).

    It tells you whether the donor's map can be used at all, calculates the new table and the settings that go with it,
    and writes a workbook that a tuner can check. Ignition is never adapted.

    See a worked example first:
      basemap demo

    Then, for engines of your own:
      basemap new van.toml
      basemap check van.toml
      basemap adapt van.toml
    """


COMMANDS: dict[str, Callable[..., None]] = {
    "demo": demo.demo,
    "new": new.new,
    "check": check.check,
    "adapt": adapt.adapt,
    "explain": explain.explain,
    "card": card.card,
    "learn": learn.learn,
    "sensors": sensors.sensors,
    "compare": compare.compare,
    "rank": rank.rank,
    "dead-time": dead_time.dead_time,
    "injector": injector.injector,
    "fuel": fuel.fuel,
    "schema": schema.schema,
}


class _Command(typer.core.TyperCommand):
    """A command whose usage line puts only optional parts in brackets."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """The parts of the usage line."""
        return [re.sub(r"^\{(.*)\}(?:\.\.\.)?$", r"\1", piece) for piece in super().collect_usage_pieces(ctx)]

    def get_help_option(self, ctx: Any) -> Any:
        """The help, which goes the way of all other output."""
        option: Any = super().get_help_option(ctx)
        if option is not None:
            option.callback = lambda context, _option, asked: _show_help(context, asked)
        return option


app.callback(help=_help(basemap))(basemap)
for _name, _command in COMMANDS.items():
    _settings = {
        "help_option_names": ["-h", "--help"],
        # A load of -10 psi and a coolant of -20 degC are no options.
        "ignore_unknown_options": _command is explain.explain,
    }
    app.command(_name, cls=_Command, help=_help(_command), context_settings=_settings)(_command)

program: Any = typer.main.get_command(app)
"""The commands put together: called with the words of a command line."""
