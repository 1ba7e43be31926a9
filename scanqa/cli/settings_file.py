"""The user's settings: what is the same each time, in one TOML file.

A key is an option without its dashes. Keys at the top hold for every scanner, those of
``[scanner.NAME]`` for one, and what is said on the command line comes before both.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from scanqa.errors import BadOption

ENVIRONMENT = "SCANQA_SETTINGS"
RECORDS_ENVIRONMENT = "SCANQA_RECORDS"  # comes before the file, as what is said in a shell does
KEYS = {  # and what they hold, for the example
    "paper": '"office"',
    "card-paper": '"photo"',
    "book-edge": '"left"',
    "bars": "[180.2, 179.6]",
    "print": '"sheet 1, kitchen printer"',
    "uses": '"orchard.toml"',
    "for": '["price lists"]',
    "curve": '"srgb"',
    "light": '"cold cathode"',
    "records": '"/srv/orchard/records.sqlite"',
    "out": '"/srv/orchard/reports"',
}
FILES = ("uses",)  # found beside the settings unless they say the whole way


@dataclass(frozen=True, slots=True)
class UserSettings:
    """What the file holds.

    Attributes
    ----------
    path : Path
        The file, which need not be there.
    for_all : dict
        Values by key, whatever the scanner.
    of_scanner : dict
        Values by key, by scanner.
    """

    path: Path
    for_all: Mapping[str, object] = field(default_factory=dict)
    of_scanner: Mapping[str, Mapping[str, object]] = field(default_factory=dict)

    def holding(self, scanner: str | None) -> dict[str, object]:
        """What holds for a scanner, or where none is named."""
        return {**self.for_all, **self.of_scanner.get(scanner or "", {})}


def settings_path() -> Path:
    """``SCANQA_SETTINGS``, or ``settings.toml`` in the user's configuration folder."""
    if given := os.environ.get(ENVIRONMENT):
        return Path(given)
    import platformdirs

    return platformdirs.user_config_path("scanqa") / "settings.toml"


def read_settings() -> UserSettings:
    """What the file of settings holds; nothing where there is none.

    Raises
    ------
    BadOption
        If it cannot be read, or holds a key that is none.
    """
    path = settings_path()
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return UserSettings(path)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadOption(f"{path}: cannot be read: {error}; see scanqa settings") from error
    tables = data.pop("scanner", {})
    if not isinstance(tables, dict) or not all(isinstance(t, dict) for t in tables.values()):
        raise BadOption(f"{path}: scanner: write a table [scanner.NAME] for each scanner")
    for where, table in (("", data), *((f"scanner.{name}: ", t) for name, t in tables.items())):
        for key in table:
            if key not in KEYS:
                near = difflib.get_close_matches(key, KEYS, n=1)
                meant = f"did you mean {near[0]}?" if near else f"keys are {', '.join(KEYS)}"
                raise BadOption(f"{path}: {where}{key}: no such setting; {meant}")
    return UserSettings(path, data, tables)


class Command(click.Command):
    """A command that takes from the settings what was not said, and shows options in groups."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the command line, then the settings.

        Raises
        ------
        BadOption
            If the settings hold what an option cannot take.
        """
        rest = super().parse_args(ctx, args)
        if not ctx.resilient_parsing:
            settings = read_settings()
            for key, value in settings.holding(ctx.params.get("scanner")).items():
                self._take(ctx, settings.path, key, value)
        return rest

    def _take(self, ctx: click.Context, path: Path, key: str, value: object) -> None:
        option = next((p for p in self.params if f"--{key}" in p.opts), None)
        if option is None or option.name is None:
            return
        if ctx.get_parameter_source(option.name) is not ParameterSource.DEFAULT:
            return
        if key == "records" and os.environ.get(RECORDS_ENVIRONMENT):
            return
        try:
            ctx.params[option.name] = option.type_cast_value(ctx, _usable(key, value, path))
        except (click.BadParameter, TypeError) as error:
            words = error.message if isinstance(error, click.BadParameter) else str(error)
            raise BadOption(f"{path}: {key} = {value!r}: {words}") from error

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, each group of them under its heading."""
        groups: dict[str, list[tuple[str, str]]] = {"Options": []}
        for option in self.get_params(ctx):
            shown = option.get_help_record(ctx)
            if shown is not None:
                groups.setdefault(getattr(option, "heading", "Options"), []).append(shown)
        for heading, rows in groups.items():
            with formatter.section(heading):
                formatter.write_dl(rows)


def _usable(key: str, value: object, path: Path) -> Any:
    """A value as an option takes it; refuses what no option means."""
    if isinstance(value, dict | bool):
        raise click.BadParameter(f"write {key} = {KEYS[key]}")
    if (KEYS[key].startswith("[")) != isinstance(value, list):
        raise click.BadParameter(f"write {key} = {KEYS[key]}")
    if key in FILES:
        return str(path.parent / str(value))
    return value
