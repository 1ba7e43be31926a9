"""The command line: parses, calls one library function, prints. A module for each command.

Exit status: 0 done; 1 measured, but a limit given with ``--fail-on`` is broken; 2 some input
cannot be used (one line for each on standard error; everything else is still measured).
Commands are loaded when they are called, and only click at the top, so that ``--help`` answers at
once.
"""

from __future__ import annotations

from importlib import import_module

import click

from scanqa.cli.checks import UNUSABLE
from scanqa.cli.near_names import Named
from scanqa.errors import ScanqaError
from scanqa.version import __version__

COMMANDS = (  # in the order of use; each is a module beside this one
    "sheets",
    "capture",
    "qualify",
    "batch",
    "report",
    "scanners",
    "records",
    "event",
    "events",
    "job",
    "history",
    "fleet",
    "compare",
    "explain",
    "settings",
    "manual",
    "installed",
    "demo",
)


class _Commands(Named):
    """Loads a command's module at its first use; turns our errors into one line and status 2."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"scanqa.cli.{cmd_name}_command").command
        return command

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except ScanqaError as error:
            click.echo(f"scanqa: {error}", err=True)
            ctx.exit(UNUSABLE)


@click.group("scanqa", cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="scanqa")
def main() -> None:
    """Measure how good a flatbed document scanner really is.

    Print a sheet (scanqa sheets), scan it and some blank paper, then let scanqa qualify measure
    the scans and write a report. scanqa demo shows it all on simulated scans.
    """
