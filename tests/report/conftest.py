"""Debian's Chromium for the tests of the page. Without it these tests fail; they never skip."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "reports"
FLAGS = (  # root needs the first; the others keep Chromium from calling out
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def chromium():
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("no chromium on this machine: apt-get install chromium", pytrace=False)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium):
    """A function that opens a file at a width, and closes it after the test."""
    contexts = []

    def open_(path, width, *, height=900, **options):
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        tab = context.new_page()
        tab.goto(path.as_uri())
        return tab

    yield open_
    for context in contexts:
        context.close()


def unfold(tab):
    """Open all that is folded."""
    tab.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")


@pytest.fixture(scope="session")
def reports(tmp_path_factory):
    """Each synthetic record's report, written once, and two pages for a seller."""
    from scanqa.codec import read_record
    from scanqa.model import Qualification
    from scanqa.report.evidence.seller_page import write_evidence
    from scanqa.report.pages import write_report
    from scanqa.standing import decided
    from tests.report import synthetic

    folder = tmp_path_factory.mktemp("reports")
    records = {
        "heron": synthetic.heron(),
        "one-blank": synthetic.one_blank(),
        "hostile": synthetic.hostile(),
    }
    for name, file in (("demo", "heron"), ("demo-wren", "wren")):  # the newest sample reports
        kept = read_record(DEMO / f"{file}.json")
        records[name] = Qualification(decided(kept, identity=kept.identity))
    for name, record in records.items():
        write_report(record, folder / f"{name}.html")
    for name in ("heron", "hostile"):
        write_evidence(records[name], folder / f"{name}-evidence.html", done=synthetic.DONE)
    return {path.stem: path for path in sorted(folder.iterdir())}
