"""The page over all scanners as people meet it: twelve, five hundred, none, and hostile ones.

The fleets are drawn (`tests/fleet/lives.py`), some with planted faults.
"""

import re
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from scanqa.model import Decision, Identity
from scanqa.model.history import Event
from scanqa.records.fleet.overlook import overlook
from scanqa.report.fleet.fleet_page import write_fleet
from scanqa.report.index.shelf import facts_of
from scanqa.report.more_pages import write_history, write_index
from tests.fleet.lives import BEGIN, FAULTS, day_of, healthy, kind_of, unit_of
from tests.fleet.pool import read_pool
from tests.report.conftest import unfold
from tests.report.past_pages import past
from tests.report.reading import page_text
from tests.report.synthetic import HOSTILE

NAMES = ["small", "large", "empty", "hostile"]
MONTHS, ONSET = 16, 10
MOST_BYTES = 3_000_000
LEAST_TARGET_PX = 24  # WCAG 2.2, success criterion 2.5.8, or as much space around it
SITES = ("reading room", "Alder Mill", "Fell Foot", "Tarn Head", "")


def drawn(count, months=MONTHS, sick=0):
    """A fleet of so many scanners, the first `sick` of them with a fault."""
    rng = np.random.default_rng(16)
    kinds = [kind_of(pool) for pool in read_pool().values()]
    units = []
    for at in range(count):
        life = healthy(f"unit {at:03}", kinds[at % 2], months, rng)
        if at < sick:
            life = FAULTS[at % len(FAULTS)](life, ONSET, rng)
        identity = Identity(
            life.name, "Larkfield", f"L-{12 + at % 2}", f"S{at}", site=SITES[at % len(SITES)],
            lamp="cold cathode",
        )  # fmt: skip
        units.append(unit_of(life, months, identity))
    return units


def seen(units, months=MONTHS, **more):
    today = date.fromisoformat(day_of(months - 1)[:10]) + timedelta(days=9)
    return overlook(units, today=today, **more)


@pytest.fixture(scope="module")
def fleets():
    """Each fleet as the page is given it."""
    small = drawn(12, sick=5)
    dirty = Decision(
        "clean", "dirt", ("glass-dirt",), unfit=("Text",), title="Clean it",
        sentence="Dirt on the glass: this may come off.",
    )  # fmt: skip
    small[6] = replace(small[6], decisions=("keep",) * 14 + ("clean",) * 2, decided=dirty)
    small[7] = replace(
        small[7], events=(Event(small[7].name, day_of(12)[:10], "glass cleaned"),), broken=(77,)
    )
    small[8] = replace(small[8], identity=replace(small[8].identity, serial="S10"))
    small.append(
        unit_of(healthy("unit never", kind_of(read_pool()["lens"]), 1, np.random.default_rng(1)), 0)
    )
    hostile = [
        replace(
            unit,
            identity=Identity(f"{HOSTILE} {at}", HOSTILE, HOSTILE, site=HOSTILE, lamp=HOSTILE),
            events=(Event(unit.name, day_of(12)[:10], HOSTILE),),
        )
        for at, unit in enumerate(drawn(3, sick=1))
    ]
    return {
        "small": seen(small),
        "large": seen(drawn(500, sick=30)),
        "empty": overlook([], today=BEGIN),
        "hostile": seen(hostile),
    }


@pytest.fixture(scope="module")
def pages(fleets, tmp_path_factory):
    """Each page in a folder of its own."""
    made = {}
    for name, found in fleets.items():
        made[name] = tmp_path_factory.mktemp(name) / "fleet.html"
        write_fleet(found, made[name])
    return made


def test_the_first_words_say_which_scanner_needs_a_hand(fleets, pages):
    text = page_text(pages["small"].read_text("utf-8"))
    order = [
        "6 of 13 scanners need a hand today: unit 006 first",
        "Unit 008 and unit 010 go by one serial number",
        "Record 77 of unit 007 cannot be read",
        "unit 006: Clean it", "Unfit for Text", "Dirt on the glass: this may come off.",
        "Caution. Unplug",
        "Checks that are due", "never checked",
        "What changed since last month", "called: needs a hand",
        "Scanners unlike the others of their model",
        "Lamps by when half of the light is gone",
        "What was done, and whether it helped", "Glass cleaned",
        "at most one false call in three months",
        "All scanners: by place", "All scanners by name",
    ]  # fmt: skip
    places = [text.find(words) for words in order]
    assert -1 not in places, order[places.index(-1)]
    assert places == sorted(places)
    called = [call.scanner for call in fleets["small"].calls]
    assert set(called) == {f"unit {at:03}" for at in (0, 1, 2, 3, 4, 6)}
    assert re.search(r"New dark line at x \d+\.\d mm", text)
    assert "Dead margin left: " in text
    assert "nan" not in text.lower()


def test_five_hundred_scanners_fit_in_a_page(fleets, pages):
    assert pages["large"].stat().st_size <= MOST_BYTES
    text = page_text(pages["large"].read_text("utf-8"))
    assert text.count("\nunit 499") >= 1
    assert f"{len(fleets['large'].calls)} of 500 scanners need a hand today" in text
    called = {call.scanner for call in fleets["large"].calls}
    assert called <= {f"unit {at:03}" for at in range(30)}
    assert len(called) >= 24  # of 30 sick ones, six checks after: 8 of 10 are asked for


def test_no_scanner_is_said_to_be_none(pages):
    text = page_text(pages["empty"].read_text("utf-8"))
    assert "No scanner is in use" in text
    assert "scanqa scanners import" in text


def test_the_index_leads_to_the_fleet_and_the_fleet_to_pages_beside_it(fleets, tmp_path):
    write_history(past("frame moved", "unit 003"), tmp_path / "unit-003-history.html")
    write_fleet(fleets["small"], tmp_path / "fleet.html")
    html = (tmp_path / "fleet.html").read_text("utf-8")
    assert '<a href="unit-003-history.html">history<' in html
    assert '<a href="index.html">All scanners</a>' in html
    index = (write_index(tmp_path)).read_text("utf-8")
    assert '<a href="fleet.html">Fleet</a>' in index
    assert "6 of 13 scanners need a hand today" in index
    assert facts_of(tmp_path / "fleet.html")["page"] == "fleet"
    assert '<a href="fleet.html">Fleet</a>' in (tmp_path / "unit-003-history.html").read_text()


# --------------------------------------------------------------------------- in the browser


@pytest.fixture
def opened(open_page, pages):
    return lambda name, width, **options: open_page(pages[name], width, height=844, **options)


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_nothing_of_the_fleet_sticks_out_sideways(opened, name, width):
    tab = opened(name, width)
    unfold(tab)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    beyond = tab.evaluate(
        """width => [...document.querySelectorAll('body *')].filter(e => {
            if (e.closest('.unseen, caption, thead')) return false;
            const box = e.getBoundingClientRect();
            return box.width > 0 && (box.right > width + 1 || box.left < -1);
        }).map(e => e.outerHTML.slice(0, 120))""",
        width,
    )
    assert beyond == []


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", NAMES)
def test_the_fleet_breaks_no_rule_of_accessibility(opened, name, scheme):
    from axe_playwright_python.sync_playwright import Axe

    tab = opened(name, 390, bypass_csp=True, color_scheme=scheme)
    unfold(tab)
    found = Axe().run(tab)
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) > 15


@pytest.mark.browser
def test_the_first_screen_of_a_phone_answers(opened):
    tab = opened("large", 390)
    for place, screens in (("#outcome", 1), (".calls > li", 1), (".calls > li:nth-child(3)", 2)):
        end = tab.locator(place).first.evaluate("e => e.getBoundingClientRect().bottom")
        assert end <= screens * 844, place


@pytest.mark.browser
def test_five_hundred_are_found_without_scripts_by_their_links(chromium, pages):
    context = chromium.new_context(
        java_script_enabled=False, offline=True, viewport={"width": 390, "height": 844}
    )
    tab = context.new_page()
    asked: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    tab.goto(pages["large"].as_uri())
    tab.get_by_text("All scanners: by place").click()
    link = tab.locator("#by-place a").filter(has_text="unit 321")
    link.click()
    row = tab.locator("li:target")
    assert "unit 321" in row.inner_text()
    box = row.bounding_box()
    assert -1 <= box["y"] < 844
    assert [url for url in asked if not url.startswith(pages["large"].as_uri())] == []
    context.close()


@pytest.mark.browser
def test_headings_of_the_fleet_go_down_one_step_at_a_time(opened):
    tab = opened("small", 1280)
    levels = tab.evaluate("[...document.querySelectorAll('h1,h2,h3,h4')].map(h => +h.tagName[1])")
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))
