"""Names that nobody knows, and what may have been meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

import click

from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption

LIKE = 0.6  # of difflib's ratio: share of letters that two names have in common, in their order
NEARLY_AS_LIKE = 0.9  # of the likest: named too
MOST = 3


def hint(name: str, known: Iterable[str], otherwise: str) -> str:
    """What may have been meant, else what to do.

    Parameters
    ----------
    name : str
        As it was typed.
    known : iterable of str
        All names that there are.
    otherwise : str
        What to do where none is near: ``see scanqa records list``.
    """
    likeness = {each: _likeness(name, each) for each in known}
    best = max(likeness.values(), default=0.0)
    if best < LIKE:
        return otherwise
    near = [each for each, found in likeness.items() if found > NEARLY_AS_LIKE * best]
    return f"did you mean {' or '.join(sorted(near, key=likeness.__getitem__)[: -MOST - 1 : -1])}?"


def _likeness(name: str, other: str) -> float:
    return difflib.SequenceMatcher(None, name.casefold(), other.casefold()).ratio()


def no_measure(name: str) -> str:
    """That there is no measure of a name, and which may be meant."""
    from scanqa.catalogue import CATALOGUE

    last = [each for each in CATALOGUE if each.rpartition(".")[2] == name]
    words = f"did you mean {last[0]}?" if last else hint(name, CATALOGUE, "see scanqa explain")
    return f"no measure {name}; {words}"


class Named(click.Group):
    """A group whose commands take the user's settings, and which says which one may be meant."""

    command_class = Command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is called; as `click.Group.resolve_command`.

        Raises
        ------
        BadOption
            If there is none of the name.
        """
        name = args[0]
        if name.startswith("-") or ctx.resilient_parsing or self.get_command(ctx, name) is not None:
            found: Any = super().resolve_command(ctx, args)
            return found  # type: ignore[no-any-return]
        words = hint(name, self.list_commands(ctx), f"see {ctx.command_path} --help")
        group = "" if ctx.parent is None else f"{ctx.info_name} "
        raise BadOption(f"{group}{name}: no such command; {words}")
