"""The report as people meet it: on a phone, on a desk, on paper, by ear."""

import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from itertools import combinations, pairwise

import pytest

from scanqa.report.pages import write_report
from tests.report import synthetic
from tests.report.conftest import unfold

pytestmark = pytest.mark.browser

NAMES = ["heron", "one-blank", "hostile", "heron-evidence", "hostile-evidence"]
PT_PER_MM = 72 / 25.4
MOST_SHEETS = 12  # of the report as it is printed; `scanqa report N --all` prints everything
MOST_FOLDED, MOST_OPENED = 6, 25  # screens of 800 px
LEAST_LETTERS_PX = 9.0  # in figures on a phone; common practice, no source


@pytest.fixture
def opened(open_page, reports):
    return lambda name, width, **options: open_page(reports[name], width, **options)


@pytest.mark.parametrize("name", NAMES)
def test_offline_and_without_scripts_the_page_is_all_there(chromium, reports, name):
    context = chromium.new_context(java_script_enabled=False, offline=True)
    tab = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    tab.on("console", lambda message: said.append(message.text))
    tab.goto(reports[name].as_uri())
    try:
        outside = [url for url in asked if not url.startswith("data:")]
        assert outside == [reports[name].as_uri()]
        assert said == []
        assert tab.get_by_role("heading", level=1).count() == 1
        assert tab.get_by_role("main").is_visible()
        if name == "heron":
            glass = tab.get_by_role("img").last  # of those that are not folded away
            assert "The glass seen from above" in (glass.get_attribute("aria-label") or "")
    finally:
        context.close()


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [320, 360, 768, 1280])
def test_nothing_sticks_out_sideways(opened, name, width):
    tab = opened(name, width)
    unfold(tab)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    beyond = tab.evaluate(
        """width => [...document.querySelectorAll('body *')].filter(e => {
            if (e.closest('.scroll') || e.closest('.unseen')) return false;
            const box = e.getBoundingClientRect();
            return box.width > 0 && (box.right > width + 1 || box.left < -1);
        }).map(e => e.outerHTML.slice(0, 120))""",
        width,
    )
    assert beyond == []


CARD = {  # what the first screen must hold, and where it stands
    "decision": "#decision",
    "uses": ".uses dl",
    "glass": ".glass-figure svg",
    "findings": ".found",
    "acts": ".acts",
    "gaps": "section.open",
}


@pytest.mark.parametrize(("width", "height", "screens"), [(1280, 800, 1), (390, 844, 2)])
@pytest.mark.parametrize("name", ["demo", "demo-wren", "heron"])
def test_the_first_screen_decides(chromium, reports, name, width, height, screens):
    """Two screens of a phone; the record of the demo's heron is the fullest there is."""
    context = chromium.new_context(viewport={"width": width, "height": height})
    tab = context.new_page()
    tab.goto(reports[name].as_uri())
    ends = {
        what: tab.locator(place).first.evaluate("e => e.getBoundingClientRect().bottom")
        for what, place in CARD.items()
    }
    folded = tab.evaluate("document.documentElement.scrollHeight")
    unfold(tab)
    opened = tab.evaluate("document.documentElement.scrollHeight")
    sections = tab.evaluate(
        """[...document.querySelectorAll('.card > section')].map(s => {
            const box = s.getBoundingClientRect();
            return [box.left, box.top, box.right, box.bottom];
        })"""
    )
    contents = tab.locator("nav").evaluate("e => e.getBoundingClientRect().top")
    context.close()
    assert {what: end for what, end in ends.items() if end > screens * height} == {}
    assert [pair for pair in combinations(sections, 2) if overlap(*pair)] == []
    if screens == 1:
        assert contents < 1.5 * height
        assert folded <= MOST_FOLDED * height
        assert opened <= MOST_OPENED * height


def overlap(one, other):
    """Whether two boxes (left, top, right, bottom) cover each other by more than a rounding."""
    return (
        min(one[2], other[2]) - max(one[0], other[0]) > 1
        and min(one[3], other[3]) - max(one[1], other[1]) > 1
    )


@pytest.mark.parametrize("width", [360, 1280])
def test_letters_in_pictures_can_be_read_and_none_is_cut_off(opened, width):
    tab = opened("heron", width)
    unfold(tab)
    found = tab.evaluate(
        """() => [...document.querySelectorAll('figure svg')]
            .filter(svg => svg.getBoundingClientRect().width > 0)
            .flatMap(svg => {
                const frame = svg.getBoundingClientRect();
                const scale = frame.width / svg.viewBox.baseVal.width;
                return [...svg.querySelectorAll('text')].map(text => {
                    const box = text.getBoundingClientRect();
                    return {
                        words: text.textContent,
                        px: parseFloat(getComputedStyle(text).fontSize) * scale,
                        inside: box.left >= frame.left - 1 && box.right <= frame.right + 1 &&
                                box.top >= frame.top - 1 && box.bottom <= frame.bottom + 1,
                    };
                });
            })"""
    )
    assert len(found) > 60
    assert [text for text in found if text["px"] < LEAST_LETTERS_PX] == []
    assert [text for text in found if not text["inside"]] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", NAMES)
def test_no_rule_of_accessibility_is_broken(opened, name, scheme):
    from axe_playwright_python.sync_playwright import Axe

    tab = opened(name, 1280, bypass_csp=True, color_scheme=scheme)
    unfold(tab)
    # the inside of a picture has no part in it: its role is img and its words are in the label
    found = Axe().run(tab, context={"exclude": [["svg"]]})
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) > 15


@pytest.mark.parametrize("name", ["heron", "heron-evidence"])
def test_headings_go_down_one_step_at_a_time(opened, name):
    tab = opened(name, 1280)
    levels = tab.evaluate("[...document.querySelectorAll('h1,h2,h3,h4')].map(h => +h.tagName[1])")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


def print_to(path, page, chromium):
    """A page as a PDF on A4."""
    context = chromium.new_context()
    tab = context.new_page()
    tab.goto(page.as_uri())
    tab.pdf(path=path, prefer_css_page_size=True)
    context.close()
    return path


@pytest.fixture(scope="module")
def printed(chromium, reports, tmp_path_factory):
    """The heron report as it comes, on paper."""
    return print_to(tmp_path_factory.mktemp("print") / "heron.pdf", reports["heron"], chromium)


@pytest.fixture(scope="module")
def printed_whole(chromium, tmp_path_factory):
    """The heron report with every section open, on paper."""
    folder = tmp_path_factory.mktemp("print-all")
    write_report(synthetic.heron(), folder / "heron.html", whole=True)
    return print_to(folder / "heron.pdf", folder / "heron.html", chromium)


def pdf_to_text(path, *options):
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.fail("no pdftotext on this machine: apt-get install poppler-utils", pytrace=False)
    return subprocess.run(
        [tool, *options, str(path), "-"], capture_output=True, text=True, check=True
    ).stdout


def test_on_paper_every_word_lies_within_the_margins(printed, printed_whole):
    assert 2 <= sheets_within_margins(printed) <= MOST_SHEETS
    assert sheets_within_margins(printed_whole) > MOST_SHEETS


def sheets_within_margins(path):
    """How many sheets there are; each is looked at."""
    pages = ElementTree.fromstring(pdf_to_text(path, "-bbox")).findall(".//{*}page")
    least = 15 * PT_PER_MM  # the margins are 16 mm and more
    for number, sheet in enumerate(pages, 1):
        width, height = float(sheet.get("width")), float(sheet.get("height"))
        assert (width, height) == pytest.approx((595.3, 841.9), abs=1)  # A4, ISO 216
        words = sheet.findall("{*}word")
        assert len(words) > 8, f"page {number} is all but empty"
        for word in words:
            where = f"{word.text!r} on page {number}"
            assert float(word.get("xMin")) > least, where
            assert float(word.get("xMax")) < width - least, where
            if not re.fullmatch(r"\d+|/", word.text or ""):  # the page number is in the margin
                assert float(word.get("yMax")) < height - least, where
    return len(pages)


def test_on_paper_the_words_are_all_there(printed, printed_whole):
    first = (
        "Clean it, then scan two blanks again",
        "Limited",
        "Keep text 7 mm clear of the left edge.",
        "Opened mains or high-voltage parts are work for qualified people",
        "autumn 1931, pages 48 and 49.jpg",
        "needs a colour target with known values",
    )
    more = (
        "Spatial frequency, cy/mm",
        "Difference from the paper around it, %",
        "Distance from the spine, mm",
        "largest shift",
        "every value",
        "scanner, print and paper together",
    )
    for path, wanted in ((printed, first[:5]), (printed_whole, first + more)):
        text = re.sub(r"\s+", " ", pdf_to_text(path))
        for words in wanted:
            assert words in text.replace("\u202f", " ").replace("\u00a0", " "), words


def test_the_page_for_a_seller_fits_on_few_sheets_and_no_finding_is_split(
    chromium, reports, tmp_path
):
    context = chromium.new_context()
    tab = context.new_page()
    tab.goto(reports["heron-evidence"].as_uri())
    tab.pdf(path=tmp_path / "e.pdf", prefer_css_page_size=True)
    context.close()
    text = pdf_to_text(tmp_path / "e.pdf", "-layout")
    sheets = [page for page in text.split("\f") if page.strip()]
    assert len(sheets) <= 5
    for heading in ("Dark line at 88.1", "The shadow at the left edge is deep"):
        plain = [page.replace("\u00a0", " ") for page in sheets]
        after = [page.split(heading)[-1] for page in plain if heading in page]
        whole = [words for words in after if "Measured" in words and "Inferred" in words]
        assert len(whole) == 1, heading


@pytest.mark.parametrize("name", ["heron", "heron-evidence"])
def test_no_picture_is_split_between_pages(opened, name):
    tab = opened(name, 673)  # what A4 leaves between its margins
    tab.emulate_media(media="print")
    broken = tab.evaluate(
        """[...document.querySelectorAll('figure')]
            .filter(f => getComputedStyle(f).breakInside !== 'avoid' ||
                         f.getBoundingClientRect().height > 262 * 96 / 25.4)
            .map(f => f.id)"""
    )
    assert broken == []
    assert tab.evaluate("document.documentElement.scrollWidth") <= 673
