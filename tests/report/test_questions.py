"""Ten questions of buyer, seller and monthly checker, each answered on a page's first screen.

First screen: what lies within 1280 × 800 when the page is opened.
"""

import pytest

from scanqa.report.more_pages import write_comparison, write_history
from tests.report.past_pages import comparison, past
from tests.report.test_by_use import side

pytestmark = pytest.mark.browser

SEEN = """() => {
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const words = [];
    while (walker.nextNode()) {
        const range = document.createRange();
        range.selectNodeContents(walker.currentNode);
        const box = range.getBoundingClientRect();
        if (box.height > 0 && box.bottom <= 800) words.push(walker.currentNode.textContent);
    }
    for (const img of document.querySelectorAll('[role=img]')) {
        const box = img.getBoundingClientRect();
        if (box.height > 0 && box.bottom <= 800) words.push(img.getAttribute('aria-label'));
    }
    return words.join(' ').replace(/\\s+/g, ' ');
}"""


@pytest.fixture(scope="module")
def first_screens(chromium, reports, tmp_path_factory):
    """Words within the first screen of each page, by name."""
    folder = tmp_path_factory.mktemp("questions")
    write_history(past(), folder / "history.html")
    sides = (side("limited"), side("fit"))
    write_comparison(comparison(), folder / "comparison.html", sides=sides)
    pages = {
        "report": reports["heron"],
        "demo": reports["demo"],
        "seller": reports["heron-evidence"],
        "history": folder / "history.html",
        "comparison": folder / "comparison.html",
    }
    found = {}
    for name, path in pages.items():
        context = chromium.new_context(viewport={"width": 1280, "height": 800})
        tab = context.new_page()
        tab.goto(path.as_uri())
        found[name] = tab.evaluate(SEEN)
        context.close()
    return found


@pytest.mark.parametrize(
    ("page", "question", "answers"),
    [
        ("demo", "is it good for my books", ["Good for", "Bound pages to the spine", "limit"]),
        ("demo", "what is wrong", ["Dark line at 71.3 mm", "2 specks on the glass"]),
        ("demo", "where", ["The glass seen from above", "a line at x 71 mm"]),
        ("demo", "what now", ["Clean it, then scan two blanks again", "Clean the glass"]),
        ("demo", "how sure", ["seen once", "±"]),
        ("demo", "what is missing", ["Still open", "Scan next:"]),
        ("report", "whose is it, until when can it go back", ["serial 0417", "4 December 2026"]),
        ("history", "is it as it was last month", ["Since 5 November 2026: new"]),
        ("history", "when will the lamp be too dark", ["at this pace half of it is gone in"]),
        ("comparison", "which of two to buy", ["wren is better for covers", "costs 80 more"]),
        (
            "comparison",
            "how many hours for my job",
            ["wren saves 3 hours", "Hours for the job 12 9"],
        ),
        ("seller", "what is asked", ["To R. Osgood", "What is asked", "Please say whether"]),
        ("seller", "on what evidence", ["Dark line at 88.1 mm", "The glass seen from above"]),
    ],
)
def test_the_first_screen_answers(first_screens, page, question, answers):
    for words in answers:
        assert words in first_screens[page], f"{question}: {words}"


@pytest.mark.browser
def test_on_a_phone_what_decides_between_two_takes_no_scrolling_sideways(open_page, tmp_path):
    page = tmp_path / "comparison.html"
    write_comparison(comparison(), page, sides=(side("limited"), side("fit")))
    tab = open_page(page, 390)
    cells = tab.evaluate(
        """() => [...document.querySelectorAll('.by-use tbody tr > *')].map(cell => {
            const box = cell.getBoundingClientRect();
            return {words: cell.textContent, left: box.left, right: box.right};
        })"""
    )
    assert len(cells) >= 5
    assert [cell for cell in cells if cell["left"] < 0 or cell["right"] > 390] == []
