"""Options in groups: a command gets one frozen value for each, in place of a parameter for each."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from typing import Any

Command = Callable[..., None]
Option = Callable[[Command], Command]  # what click.option returns


def group(
    name: str, kind: type, *options: Option, heading: str = "Options"
) -> Callable[[Command], Command]:
    """A decorator that adds options to a command.

    Parameters
    ----------
    name : str
        The parameter of the command that gets the value.
    kind : type
        A frozen dataclass with a field for each option, of the option's parameter name.
    options : click.option(…)
        In the order of the help.
    heading : str
        Above them in the help.
    """
    fields = [field.name for field in dataclasses.fields(kind)]

    def decorate(command: Command) -> Command:
        @functools.wraps(command)
        def with_value(*given: Any, **others: Any) -> None:
            own = {field: others.pop(field) for field in fields}
            command(*given, **{name: kind(**own)}, **others)

        made: Command = with_value
        for option in reversed(options):
            made = option(made)
            made.__click_params__[-1].heading = heading  # type: ignore[attr-defined]
        return made

    return decorate
