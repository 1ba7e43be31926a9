"""``scanqa settings``: where the settings lie, and what holds."""

from __future__ import annotations

import click


@click.command("settings", short_help="Show your settings and where they lie.")
@click.argument("scanner", required=False)
def command(scanner: str | None) -> None:
    """Show where your settings lie, and what holds, for all scanners or for SCANNER.

    The file is TOML, for an editor; a key is an option without its dashes, and the command line
    comes before it. SCANQA_SETTINGS names another file.
    """
    from scanqa.cli.settings_file import KEYS, read_settings

    settings = read_settings()
    click.echo(settings.path)
    if not settings.path.exists():
        click.echo("  not there yet; it may hold, for instance:")
        lines = [f"{key} = {value}" for key, value in KEYS.items()]
        click.echo("\n".join(("", *lines[-2:], "", "[scanner.heron]", *lines[:-2])))
        return
    if scanner is not None:
        _show(settings.holding(scanner))
        return
    _show(settings.for_all)
    for name, held in settings.of_scanner.items():
        click.echo(f"{name}:")
        _show(held)


def _show(held: object) -> None:
    if not isinstance(held, dict) or not held:
        click.echo("  nothing set")
        return
    for key, value in held.items():
        words = " ".join(map(str, value)) if isinstance(value, list) else value
        click.echo(f"  --{key} {words}")
