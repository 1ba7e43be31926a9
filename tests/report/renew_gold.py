"""Writes the texts of pages in ``tests/gold`` anew; see ``tests/gold/README.md``."""

from scanqa.report.evidence.seller_page import render_evidence
from scanqa.report.pages import render
from tests.report import synthetic
from tests.report.reading import page_text
from tests.report.test_pages import GOLD, scrubbed

if __name__ == "__main__":
    for name, record in {"heron": synthetic.heron(), "one-blank": synthetic.one_blank()}.items():
        (GOLD / f"report-{name}.txt").write_text(scrubbed(page_text(render(record))), "utf-8")
    seller = render_evidence(synthetic.heron(), done=synthetic.DONE)
    (GOLD / "evidence-heron.txt").write_text(scrubbed(page_text(seller)), "utf-8")
