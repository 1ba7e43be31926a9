"""What people read first: short, its links arrive, its commands are commands."""

import re
import shlex
from pathlib import Path

import click
import pytest

from scanqa.cli import main

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
GUIDES = [
    README,
    ROOT / "DEVELOPERS.md",
    ROOT / "targets/README.md",
    *sorted(ROOT.glob("scanqa/**/README.md")),
]
MOST_WORDS = 1800  # of README, as `wc -w` counts them


def names(paths):
    return [str(path.relative_to(ROOT)) for path in paths]


def shown_commands(text):
    """Each call of scanqa in a shell block, without its comment."""
    for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL):
        for line in block.splitlines():
            words = shlex.split(line, comments=True)
            if words[:1] == ["scanqa"] and "…" not in words:
                yield words[1:]


def parse(words):
    """Let click read a call as far as it goes without running it."""
    context = click.Context(main, info_name="scanqa")
    command = main
    while isinstance(command, click.Group):
        found = command.get_command(context, words[0])
        assert found is not None, words
        command, words = found, words[1:]
    command.make_parser(context).parse_args(list(words))


def test_the_readme_can_be_read():
    assert len(README.read_text("utf-8").split()) <= MOST_WORDS


@pytest.mark.parametrize("guide", GUIDES, ids=names(GUIDES))
def test_links_arrive(guide):
    text = guide.read_text("utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r'src="([^"]+)"', text):
        if target.startswith(("http://", "https://", "#")):
            continue
        path, _, heading = target.partition("#")
        arrived = guide.parent / path
        assert arrived.exists(), target
        if heading:
            headings = re.findall(r"^#+ (.*)$", arrived.read_text("utf-8"), re.MULTILINE)
            assert heading in {each.lower().replace(" ", "-") for each in headings}, target


@pytest.mark.parametrize("guide", GUIDES, ids=names(GUIDES))
def test_the_commands_shown_are_commands(guide):
    shown = list(shown_commands(guide.read_text("utf-8")))
    assert shown or guide != README
    for words in shown:
        parse(words)


def test_a_command_that_is_none_would_be_seen():
    with pytest.raises(click.UsageError):
        parse(["qualify", "--scaner", "heron", "--none-such"])
    with pytest.raises(AssertionError):
        parse(["qualifi"])
