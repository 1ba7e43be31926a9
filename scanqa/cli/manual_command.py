"""``scanqa manual``: man pages and completion of the shells, made from the commands."""

from __future__ import annotations

from copy import copy
from pathlib import Path

import click

LONGEST_SUMMARY = 120
SHELLS = {  # where each looks by itself below ~/.local/share (zsh: a folder of its fpath)
    "bash": "bash-completion/completions/scanqa",
    "zsh": "zsh/site-functions/_scanqa",
    "fish": "fish/vendor_completions.d/scanqa.fish",
}


@click.command("manual")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("~/.local/share"),
    show_default=True,
    help="Folder that the files are sorted into, where man, bash and fish look for them.",
)
def command(out: Path) -> None:
    """Write man pages and the completions of bash, zsh and fish.

    zsh looks where its fpath says: add the folder zsh/site-functions to it.
    """
    from click.shell_completion import get_completion_class
    from click_man.core import write_man_pages

    from scanqa.cli import main
    from scanqa.errors import BadOption
    from scanqa.version import __version__
    from scanqa.whole import write_whole

    folder = out.expanduser()
    pages = folder / "man" / "man1"
    try:
        pages.mkdir(parents=True, exist_ok=True)
        write_man_pages(
            "scanqa", _loaded(main, "scanqa"), version=__version__, target_dir=str(pages)
        )
        click.echo(f"{pages}/scanqa*.1")
        for shell, name in SHELLS.items():
            if (kind := get_completion_class(shell)) is not None:
                text = kind(main, {}, "scanqa", "_SCANQA_COMPLETE").source()
                write_whole(folder / name, text)
                click.echo(folder / name)
    except OSError as error:
        raise BadOption(
            f"--out {out}: {error.strerror}; name a folder that you may write"
        ) from error


def _loaded(command: click.Command, name: str) -> click.Command:
    """A copy of a command with its summary, and with all commands that it has."""
    context = click.Context(command, info_name=name)
    loaded = copy(command)
    loaded.short_help = command.get_short_help_str(LONGEST_SUMMARY)
    if not isinstance(command, click.Group):
        return loaded
    commands = {
        each: _loaded(found, each)
        for each in command.list_commands(context)
        if (found := command.get_command(context, each)) is not None
    }
    return click.Group(
        name, commands, params=command.params, help=command.help, short_help=loaded.short_help
    )
