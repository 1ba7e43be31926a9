"""How long pages are: screens, words, printed sheets, bytes; by hand, in Chromium.

Run::

    python -m tests.report.page_sizes reports/*.html
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.report.conftest import FLAGS

DESK, PHONE = (1280, 800), (390, 844)
HEAD = (
    "| page | screens, folded | all open | on a phone | words at first | all words | sheets "
    "| pictures | kB |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |"
)
OPEN = "document.querySelectorAll('details').forEach(d => d.open = true)"
HEIGHT = "document.documentElement.scrollHeight"
WORDS = "document.body.innerText.split(/\\s+/).length"


def sizes(path: Path, browser) -> str:
    """A row of the table."""
    at = {}
    for name, (width, height) in (("desk", DESK), ("phone", PHONE)):
        context = browser.new_context(viewport={"width": width, "height": height})
        tab = context.new_page()
        tab.goto(path.resolve().as_uri())
        at[name] = tab.evaluate(HEIGHT) / height
        if name == "desk":
            words = tab.evaluate(WORDS)
            with tempfile.TemporaryDirectory() as folder:
                tab.pdf(path=f"{folder}/page.pdf", prefer_css_page_size=True)
                told = subprocess.run(
                    ["pdfinfo", f"{folder}/page.pdf"], capture_output=True, text=True, check=True
                ).stdout
            tab.evaluate(OPEN)
            at["open"] = tab.evaluate(HEIGHT) / height
            every, figures = tab.evaluate(WORDS), tab.locator("figure").count()
        context.close()
    sheets = re.search(r"Pages:\s+(\d+)", told)[1]
    kilo = path.stat().st_size / 1000
    return (
        f"| {path.name} | {at['desk']:.1f} | {at['open']:.1f} | {at['phone']:.1f} | {words} "
        f"| {every} | {sheets} | {figures} | {kilo:.0f} |"
    )


def main() -> None:
    """Print the table of the pages named."""
    from playwright.sync_api import sync_playwright

    print(HEAD)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        for name in sys.argv[1:]:
            print(sizes(Path(name), browser), flush=True)
        browser.close()


if __name__ == "__main__":
    main()
