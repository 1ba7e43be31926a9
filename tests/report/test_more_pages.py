"""History, comparison and index as pages: what they say, and how people meet them."""

import re
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from scanqa.model.history import Past
from scanqa.records.comparison import compare
from scanqa.records.health import health
from scanqa.records.series import Value
from scanqa.report.comparison.strips import WIDTH, strip
from scanqa.report.comparison.versus import sides_view
from scanqa.report.history.past import past_view
from scanqa.report.index.shelf import facts_of, shelf
from scanqa.report.more_pages import write_comparison, write_history, write_index
from scanqa.report.pages import render, write_report
from tests.records.test_comparison import scanner
from tests.records.test_health import life
from tests.report import synthetic
from tests.report.conftest import unfold
from tests.report.past_pages import checks, comparison, past
from tests.report.reading import page_text
from tests.report.synthetic import HOSTILE
from tests.report.test_browser import LEAST_LETTERS_PX

HERON = synthetic.changed(
    synthetic.one_blank(), scanner="heron", scans=(synthetic.facts("page.tif", "page"),)
)
NAMES = ["heron", "heron-history", "heron-wren", "hostile-history", "hostile-comparison", "index"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Every page once, in one folder."""
    made = tmp_path_factory.mktemp("more-pages")
    write_report(HERON, made / "heron.html", past=past())
    write_history(past(), made / "heron-history.html")
    write_history(past(HOSTILE, HOSTILE), made / "hostile-history.html")
    write_comparison(comparison(), made / "heron-wren.html")
    write_comparison(comparison(HOSTILE, "wren"), made / "hostile-comparison.html")
    (made / "heron.json").write_text("{}")
    (made / "notes.html").write_text("<title>somebody else's page</title>")
    write_index(made)
    return made


# ------------------------------------------------------------------------------ what they say


def test_the_history_says_what_the_charts_found(folder):
    text = page_text((folder / "heron-history.html").read_text("utf-8"))
    order = [
        "heron", "% of the light is gone since", "at this pace half of it is gone in",
        "Lamp ageing or haze. Worse than it was", "Since 5 November 2026", "Over time: drifting",
        "\nLamp ageing or haze\n", "What moved", "What was done", "Frame moved",
        "Sensor window cleaned", "The dark line at x 118.2 mm is gone.",
        "Bright line at x 148.6 mm", "What did not move",
    ]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "The limit 40.0 dB will be met in" in text
    assert re.search(r"Shadow left worse \| [23]\.\d+ \| 4\.\d+ ", text)
    assert "mercury" in text


def test_the_report_gains_its_history_below_what_to_do(folder):
    html = (folder / "heron.html").read_text("utf-8")
    order = ['id="what-to-do"', 'href="#history"', 'id="history"', 'id="scans"']
    assert [html.index(part) for part in order] == sorted(html.index(part) for part in order)
    assert html.count('id="past-') <= 8 * 400  # ids inside the drawings have the same beginning
    assert 1 <= len(re.findall(r'<figure class="half" id="past-\d+">', html)) <= 4  # moved
    assert len(re.findall(r'<figure class="half" id="(?:past|steady)-\d+">', html)) <= 8


def test_a_report_without_earlier_records_has_no_history():
    html = render(synthetic.one_blank())
    assert "Over time" not in html
    assert 'id="history"' not in html


def test_a_young_history_says_that_it_is_too_early():
    rng_free = life({"noise.total": [0.3, 0.31]})
    view = past_view(Past(health("heron", rng_free), None))
    assert (view.word, view.tone, view.traces) == ("Too early to say", "open", ())
    assert "four checks" in view.sentence


def test_the_comparison_says_the_verdict_first_and_is_fair(folder):
    text = page_text((folder / "heron-wren.html").read_text("utf-8"))
    order = [
        "heron and wren", "Each has its strengths", "wren costs 80 more", "What the price buys",
        "\nheron is better in\n", "Gutter:", "\nwren is better in\n", "Sharpness: SFR50",
        "different dpi",
        "wren has no scan of this kind: open-book", "lossy compression", "Curves over each other",
        "Differences, measure by measure", "What was not compared, and why", "Conditions",
    ]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "wren costs 80 more and is better in" in text
    assert "Each hour saved costs 26.7 of the price." in text
    assert text.count("16.0 at 0, 6.0 at 2") == 1  # the curve is in the picture's words


def test_equals_are_said_to_be_equal():
    same = [scanner(np.random.default_rng(7))]
    view = sides_view(compare(same, same, names=("one", "other")))
    assert view.word == "No difference shown"
    assert "That is a result" in view.sentence
    assert view.sides == ()


def test_strips_stay_inside_and_point_the_right_way():
    rows = [row for row in comparison().rows if row.difference is not None]
    for row in rows:
        drawn = strip(row)
        for x in re.findall(r'(?:cx|x)="([\d.]+)"', drawn):
            assert 0 <= float(x) <= WIDTH
        if row.verdict == "second is better":
            assert float(re.search(r'cx="([\d.]+)"', drawn)[1]) > WIDTH / 2
        if row.verdict == "first is better":
            assert float(re.findall(r'<rect x="([\d.]+)"', drawn)[-1]) < WIDTH / 2
    assert {"first is better", "second is better"} <= {row.verdict for row in rows}


def test_the_index_lists_what_lies_in_the_folder(folder):
    found = shelf(folder)
    assert found.scanners[0].scanner == "heron"
    heron = found.scanners[0]
    assert [words for words, _ in heron.links] == ["Report", "Numbers as JSON", "History"]
    assert heron.word == "Not decided"  # by a record from before decisions were kept
    assert "of the light is gone" in heron.health
    assert "24 checks" in heron.health
    assert "heron and wren" in [title for title, _, _ in found.comparisons]
    text = page_text((folder / "index.html").read_text("utf-8"))
    assert "somebody else" not in text
    assert "Each has its strengths." in text


def test_links_of_the_index_arrive(folder):
    html = (folder / "index.html").read_text("utf-8")
    for address in re.findall(r'<a href="([^"]*)"', html):
        assert (folder / address).is_file(), address


def test_an_empty_folder_has_an_index_too(tmp_path):
    write_index(tmp_path)
    assert "No report lies in this folder yet." in (tmp_path / "index.html").read_text("utf-8")
    assert facts_of(tmp_path / "absent.html") == {}


@pytest.mark.parametrize("name", NAMES)
def test_pages_are_whole_small_and_quiet(folder, name):
    html = (folder / f"{name}.html").read_text("utf-8")
    assert len(html.encode()) < 3_000_000
    ids = Counter(re.findall(r'\bid="([^"]*)"', html))
    assert not [one for one, count in ids.items() if count > 1]
    assert set(re.findall(r'aria-labelledby="([^"]*)"', html)) <= set(ids)
    assert "<script" not in html
    assert "<img" not in html
    assert "@import" not in html
    assert "\x07" not in html
    assert "default-src 'none'" in html


def test_the_same_history_gives_the_same_bytes(folder, tmp_path):
    write_history(past(), tmp_path / "again.html")
    pages = [tmp_path / "again.html", folder / "heron-history.html"]
    again, first = (page.read_text("utf-8") for page in pages)
    assert without_links(again) == without_links(first)


def without_links(html):
    """A page but for the list of other pages in its folder."""
    return re.sub("<!--pages-->.*<!--/pages-->", "", html, flags=re.DOTALL)


def test_pages_of_a_scanner_lead_to_each_other(folder):
    wanted = {
        "heron.html": {"heron-history.html", "heron-wren.html", "index.html"},
        "heron-history.html": {"heron.html", "heron-wren.html", "index.html"},
        "heron-wren.html": {"heron.html", "heron-history.html", "index.html"},
    }
    for name, others in wanted.items():
        html = (folder / name).read_text("utf-8")
        assert set(re.findall(r'<li><a href="([^"#]+)"', html)) == others, name


# ------------------------------------------------------------------------- how people meet them


@pytest.fixture
def opened(open_page, folder):
    return lambda name, width, **options: open_page(folder / f"{name}.html", width, **options)


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [360, 1280])
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


@pytest.mark.browser
@pytest.mark.parametrize("name", ["heron-history", "heron-wren", "index"])
def test_no_rule_of_accessibility_is_broken(opened, name):
    from axe_playwright_python.sync_playwright import Axe

    tab = opened(name, 1280, bypass_csp=True)
    unfold(tab)
    found = Axe().run(tab, context={"exclude": [["svg"]]})
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) > 10


@pytest.mark.browser
@pytest.mark.parametrize("name", ["heron", "heron-history", "heron-wren", "index"])
def test_headings_go_down_one_step_at_a_time(opened, name):
    tab = opened(name, 1280)
    levels = tab.evaluate("[...document.querySelectorAll('h1,h2,h3')].map(h => +h.tagName[1])")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1280])
def test_letters_of_small_multiples_can_be_read_and_none_is_cut_off(opened, width):
    tab = opened("heron-history", width)
    found = tab.evaluate(
        """() => [...document.querySelectorAll('figure svg')].flatMap(svg => {
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


@pytest.mark.browser
@pytest.mark.parametrize("name", ["heron-history", "heron-wren"])
def test_on_paper_no_picture_or_row_is_split(opened, name):
    tab = opened(name, 673)  # what A4 leaves between its margins
    tab.emulate_media(media="print")
    broken = tab.evaluate(
        """[...document.querySelectorAll('figure, tr')]
            .filter(f => getComputedStyle(f).breakInside !== 'avoid').length"""
    )
    assert broken == 0
    assert tab.evaluate("document.documentElement.scrollWidth") <= 673
    hidden = tab.evaluate(
        """[...document.querySelectorAll('.differences td')]
            .filter(e => e.getBoundingClientRect().right > 674).length"""
    )
    assert hidden == 0


def test_a_bound_reads_as_one_in_a_history():
    bound = Value(
        "gutter.reach_2", "", "", "", 0, 1, 40.89, 0.5, (), "at-least", None, None, "mm", 1
    )
    seen = [
        replace(check, values=(*check.values, replace(bound, value=40.89 + at)))
        for at, check in enumerate(checks())
    ]
    view = past_view(Past(health("heron", seen), None))
    (row,) = [row for row in view.table.rows if row[0].text.startswith("Reach")]
    assert [cell.text.replace("\u202f", " ") for cell in row[1:3]] == [
        "at least 40 mm",
        "at least 63 mm",
    ]
