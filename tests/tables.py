"""Tables in Markdown that commands run by hand make anew, row by row."""

from pathlib import Path


def written_rows(path: Path) -> dict[str, str]:
    """Rows of a table as it is, by their first cell; none if there is no file."""
    lines = path.read_text("utf-8").splitlines() if path.exists() else []
    return {row.split(" | ")[0].removeprefix("| "): row for row in lines if row.startswith("| ")}


def is_asked_for(name: str, words: list[str]) -> bool:
    """Whether a row is asked for on the command line: it holds one of the words, or none is."""
    return not words or any(word in name for word in words)
