"""The table of commands and options for readers: ``python -m scanqa.cli.option_table``.

Writes ``README.md`` beside this module.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import click

from scanqa.cli import COMMANDS

HEAD = """\
# Commands and options

Made from the commands by `python -m scanqa.cli.option_table`; do not edit by hand.

"""


def option_table() -> str:
    """Every option of every command with its help."""
    lines = ["| command | option | what |", "| --- | --- | --- |"]
    for name in COMMANDS:
        command: click.Command = import_module(f"scanqa.cli.{name}_command").command
        lines += _rows(name, command)
    return HEAD + "\n".join(lines) + "\n"


def _rows(name: str, command: click.Command) -> Iterator[str]:
    if isinstance(command, click.Group):
        for inner, each in command.commands.items():
            yield from _rows(f"{name} {inner}", each)
        return
    for option in command.params:
        if isinstance(option, click.Option):
            spelled = ", ".join(f"`{word}`" for word in (*option.opts, *option.secondary_opts))
            words = " ".join((option.help or "").split()).replace("|", "\\|")
            yield f"| `{name}` | {spelled} | {words} |"


if __name__ == "__main__":
    Path(__file__).with_name("README.md").write_text(option_table(), "utf-8")
