"""The page of a job in a real browser: the demo's job, in which a line appears."""

from pathlib import Path

import pytest

from tests.report.conftest import unfold

PAGE = Path(__file__).parents[2] / "reports/heron-job.html"


@pytest.fixture
def opened(open_page):
    return lambda width, **options: open_page(PAGE, width, height=800, **options)


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_nothing_of_the_job_sticks_out_sideways(opened, width):
    tab = opened(width)
    unfold(tab)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_job_breaks_no_rule_of_accessibility(opened, scheme):
    from axe_playwright_python.sync_playwright import Axe

    tab = opened(1280, bypass_csp=True, color_scheme=scheme)
    unfold(tab)
    found = Axe().run(tab)
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) > 15


@pytest.mark.browser
def test_the_first_screen_says_what_to_scan_again_and_what_was_found(opened):
    tab = opened(1280)
    inside = tab.evaluate(
        """() => [...document.querySelectorAll('h1, h2, p, li')].filter(e => {
            const box = e.getBoundingClientRect();
            return box.height > 0 && box.top < 800;
        }).map(e => e.textContent).join(' ')"""
    )
    assert "Scan again" in inside
    assert "line at x" in inside.replace("\u00a0", " ")
