"""``scanqa explain``: what a name means, how it is measured, what it cannot know."""

from __future__ import annotations

import click

from scanqa.errors import BadOption


@click.command("explain", short_help="Explain a measure, a cause, a word or a topic.")
@click.argument("name", required=False)
def command(name: str | None) -> None:
    """Explain a measure, a family of measures, a cause, a word of the report, or a topic.

    Without NAME, list the topics, families and causes.
    """
    from scanqa.catalogue import FAMILIES
    from scanqa.catalogue.causes import CAUSES
    from scanqa.words.explain import explanation, nearest, topics

    if name is None:
        for title, listed in (
            ("topics", topics()),
            ("families of measures", FAMILIES),
            ("causes", CAUSES),
        ):
            click.echo(f"{title}: {', '.join(listed)}")
        return
    found = explanation(name)
    if found is None:
        meant = nearest(name)
        hint = f"did you mean {' or '.join(meant)}?" if meant else "scanqa explain lists names"
        raise BadOption(f"explain {name}: no measure, cause, word or topic of this name; {hint}")
    click.echo(found)
