import dataclasses
import itertools
import math

import numpy as np
import pytest

from scanqa.model import Sheet
from scanqa.sheets import SHEET_IDS, by_tag, sheet, sheets
from scanqa.sheets.papers import FIRST_TAG, PAPERS
from scanqa.sheets.tags import tag_polygons, tilted_tag, white_modules
from tests.sheets.ink import beside, cover_at, may_ink, text_box

TAGS_IN_36H11 = 587  # Wang & Olson 2016, table I
CLEAR_MM = 4.0  # white around every tag: more than any lens smears


def edges_of(page):
    return [edge for piece in page.pieces for edge in piece.edges]


def test_papers_are_iso_216_and_letter():
    # ISO 216: A4 is A3 halved, sides are whole mm, and An holds 2^-n m² at 1 : √2 within a mm.
    for n, paper in ((3, "a3"), (4, "a4")):
        width, height = PAPERS[paper]
        long_mm = 1000 * 2 ** (1 / 4 - n / 2)
        assert height == pytest.approx(long_mm, abs=1)
        assert width == pytest.approx(long_mm / math.sqrt(2), abs=1)
    assert PAPERS["a4"] == (PAPERS["a3"][1] / 2, PAPERS["a3"][0])
    assert PAPERS["letter"] == pytest.approx((215.9, 279.4), abs=1e-9)  # 8.5 in × 11 in


def cover_beside(page, edges, distances_mm):
    """Cover of (edges, points) at the given distances as shares of each edge's reach."""
    points = [beside(edge, distances_mm * edge.reach_mm) for edge in edges]
    return cover_at(page, np.concatenate(points)).reshape(len(edges), -1)


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_printed_edges_are_dark_on_the_right_and_white_on_the_left(sheet_id):
    page = sheet(sheet_id)
    edges = [edge for edge in edges_of(page) if edge.kind == "printed"]
    share = np.linspace(0.01, 1, 8)
    assert np.all(cover_beside(page, edges, share) == 1)
    assert np.all(cover_beside(page, edges, -share) == 0)


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_tags_stand_in_clean_white(sheet_id):
    page = sheet(sheet_id)
    for piece in page.pieces:
        tags = np.array([tag.corners_mm for tag in piece.tags])
        side = np.linalg.norm(tags[0, 1] - tags[0, 0])
        centres = tags.mean(axis=1)
        for distance in (0.1, 1.0, 2.5, CLEAR_MM):
            grown = centres[:, None] + (tags - centres[:, None]) * (1 + 2 * distance / side)
            steps = np.linspace(0, 1, 40)[:, None, None]
            ring = grown[:, None] + steps * (np.roll(grown, -1, axis=1) - grown)[:, None]
            assert cover_at(page, ring.reshape(-1, 2)).max() == 0, distance


@pytest.mark.parametrize("paper", PAPERS)
def test_no_ink_lies_along_a_cut(paper):
    page = sheet(f"bed-sheet-{paper}")
    cuts = [edge for edge in edges_of(page) if edge.kind == "cut"]
    assert len(cuts) >= 16
    assert cover_beside(page, cuts, np.linspace(-1, 1, 25)).max() == 0


@pytest.mark.parametrize("paper", PAPERS)
def test_cut_edges_are_the_sides_of_the_holes(paper):
    (piece,) = sheet(f"bed-sheet-{paper}").pieces
    cuts = [edge for edge in piece.edges if edge.kind == "cut"]
    assert len(cuts) == 4 * len(piece.holes_mm)
    for n, hole in enumerate(np.array(piece.holes_mm)):
        for i, edge in enumerate(cuts[4 * n : 4 * n + 4]):
            start, end = hole[i], hole[(i + 1) % 4]
            along = (end - start) / np.linalg.norm(end - start)
            for point in (edge.start_mm, edge.end_mm):
                dx, dy = point - start
                assert abs(along[0] * dy - along[1] * dx) < 1e-9
            middle = np.mean([edge.start_mm, edge.end_mm], axis=0)
            into = hole.mean(axis=0) - middle
            assert along[0] * into[1] - along[1] * into[0] > 0  # the hole lies to the right


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_all_edges_have_the_slant_and_both_signs_occur_in_both_directions(sheet_id):
    counts = {}
    for edge in edges_of(sheet(sheet_id)):
        dx, dy = np.subtract(edge.end_mm, edge.start_mm)
        direction = "travel" if abs(dx) > abs(dy) else "across"
        tangent = dy / dx if direction == "travel" else -dx / dy
        assert abs(tangent) == pytest.approx(0.0902, abs=1e-9)
        if edge.name.startswith("tag"):  # the ramp's bar can lean only one way
            key = direction, tangent > 0
            counts[key] = counts.get(key, 0) + 1
    assert len(counts) == 4
    assert min(counts.values()) >= 0.4 * max(counts.values())


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_ink_stays_in_the_printable_area(sheet_id):
    page = sheet(sheet_id)
    left, top, right, bottom = may_ink(page.paper)
    outlines = [shape.points_mm for shape in (*page.shapes, *page.back)]
    outlines += [tag.corners_mm for piece in page.pieces for tag in piece.tags]
    outlines += [text_box(text) for text in (*page.words, *page.back_words)]
    points = np.concatenate([np.array(outline) for outline in outlines])
    assert np.all(points.min(axis=0) >= (left, top))
    assert np.all(points.max(axis=0) <= (right, bottom))


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_words_overlap_nothing(sheet_id):
    check_words(sheet(sheet_id))


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_words_can_be_read_and_say_what_comes_next(sheet_id):
    page = sheet(sheet_id)
    smallest_mm = 9 / 72 * 25.4  # 9 points; a point is 1/72 inch (ISO 32000-1, 8.3.2.3)
    assert min(text.size_mm for text in (*page.words, *page.back_words)) >= smallest_mm - 1e-9
    assert any("scanqa qualify" in text.words for text in page.words)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_bed_sheet_asks_for_what_makes_it_one_sheet(paper):
    words = " ".join(text.words for text in sheet(f"bed-sheet-{paper}").words)
    for field in ("printer …", "paper …", "date …", "print label …"):
        assert field in words
    assert words.count("measured: …") == 2
    assert "Keep this sheet" in words


@pytest.mark.parametrize("paper", PAPERS)
def test_strips_are_numbered_and_folds_told_apart(paper):
    big = [t.words for t in sheet(f"edge-strip-{paper}").words if t.bold and t.words.isdigit()]
    assert sorted(big) == ["1", "2", "3", "4"]
    page = sheet(f"gutter-ramp-{paper}")
    at = {t.words: t.at_mm[1] for t in page.words if t.bold}
    ways = {t.at_mm[1]: t.words for t in page.words if t.words in ("▲ mountain", "▽ valley")}
    assert {name: ways[at[name]] for name in "ABCD"} == {
        "A": "▲ mountain", "B": "▲ mountain", "C": "▲ mountain", "D": "▽ valley",
    }  # fmt: skip


@pytest.mark.parametrize("paper", PAPERS)
def test_words_on_the_back_overlap_nothing(paper):
    page = sheet(f"back-print-{paper}")
    behind = [
        dataclasses.replace(
            shape, points_mm=tuple((page.width_mm - x, y) for x, y in shape.points_mm)
        )
        for shape in page.back
    ]
    check_words(dataclasses.replace(page, pieces=(), shapes=tuple(behind), words=page.back_words))


def check_words(page):
    bare = dataclasses.replace(page, words=())
    boxes = np.array([text_box(text) for text in page.words])
    u, v = (axis.reshape(-1, 1) for axis in np.meshgrid(np.linspace(0, 1, 25), [0, 0.3, 0.7, 1]))
    for text, box in zip(page.words, boxes, strict=True):
        points = box[0] + u * (box[1] - box[0]) + v * (box[3] - box[0])
        assert cover_at(bare, points).max() == 0, text.words
    # Lines may be set so close that a descender enters the room of the accents below it.
    lows, highs = boxes.min(axis=1) + 0.3, boxes.max(axis=1) - 0.3
    for i, text in enumerate(page.words):
        overlap = np.all((lows[i] < highs[i + 1 :]) & (lows[i + 1 :] < highs[i]), axis=1)
        assert not overlap.any(), text.words


def test_each_tag_belongs_to_one_place():
    seen = {}
    for sheet_id in SHEET_IDS:
        for piece in sheet(sheet_id).pieces:
            for tag in piece.tags:
                assert tag.id not in seen, (sheet_id, seen[tag.id])
                seen[tag.id] = sheet_id
                assert by_tag(tag.id) == (sheet(sheet_id), piece, tag)
    assert max(seen) < TAGS_IN_36H11
    starts = sorted((first, name) for name, first in FIRST_TAG.items())
    for (first, name), (following, _) in zip(
        starts, [*starts[1:], (TAGS_IN_36H11, "")], strict=True
    ):
        ids = [tag_id for tag_id, owner in seen.items() if owner == name]
        assert all(first <= tag_id < following for tag_id in ids)


def test_any_piece_has_three_tags_that_are_not_one_point():
    for sheet_id in SHEET_IDS:
        for piece in sheet(sheet_id).pieces:
            assert len(piece.tags) >= 3


@pytest.mark.parametrize("paper", PAPERS)
def test_strips_do_not_overlap_and_start_at_their_fold(paper):
    page = sheet(f"edge-strip-{paper}")
    boxes = []
    for piece in page.pieces:
        outline = np.array(piece.outline_mm)
        boxes.append((outline.min(0), outline.max(0)))
        start, end = np.array(piece.fold_mm)
        along = (end - start) / np.linalg.norm(end - start)
        depths = [
            abs(along[0] * dy - along[1] * dx)
            for dx, dy in (tag.centre_mm - start for tag in piece.tags)
        ]
        assert 12 <= min(depths) <= 15
        assert 80 <= max(depths) <= 110
    for i, (low, high) in enumerate(boxes):
        for their_low, their_high in boxes[i + 1 :]:
            assert np.any(high < their_low) or np.any(their_high < low)


@pytest.mark.parametrize("paper", PAPERS)
def test_strips_keep_a_white_field_of_8_mm_from_fold_to_end(paper):
    page = sheet(f"edge-strip-{paper}")
    for piece in page.pieces:
        start, end = np.array(piece.fold_mm)
        across = (end - start) / np.linalg.norm(end - start)
        inward = np.mean([tag.centre_mm for tag in piece.tags], axis=0) - start
        inward -= across * (inward @ across)
        inward /= np.linalg.norm(inward)
        u, v = np.meshgrid(np.linspace(0, 105, 210), np.linspace(2.5, 10.5, 17))
        points = start + u.reshape(-1, 1) * inward + v.reshape(-1, 1) * across
        assert cover_at(page, points).max() == 0


@pytest.mark.parametrize("tag_id", [0, 7, 191, 586])
def test_outlines_of_a_tag_paint_its_modules(tag_id):
    tag = tilted_tag(tag_id, (20.0, 20.0), 16.0, clockwise=True)
    corner, right, _, down = np.array(tag.corners_mm)
    alone = Sheet("x", "bed-sheet", "a4", 40, 40, (), tag_polygons(tag), ())
    for row, modules in enumerate(white_modules(tag_id)):
        for column, white in enumerate(modules):
            u, v = np.meshgrid(np.linspace(0.05, 0.95, 5), np.linspace(0.05, 0.95, 5))
            points = (
                corner
                + (column + u.reshape(-1, 1)) / 8 * (right - corner)
                + (row + v.reshape(-1, 1)) / 8 * (down - corner)
            )
            assert np.all(cover_at(alone, points) == (0 if white else 1)), (row, column)


def test_unknown_names_are_key_errors():
    with pytest.raises(KeyError, match="bed-sheet-a4"):
        sheet("bed-sheet-a5")
    with pytest.raises(KeyError):
        sheets("a5")
    with pytest.raises(ValueError, match="no tag 587"):
        white_modules(587)
    assert by_tag(586) is None


@pytest.mark.parametrize("paper", PAPERS)
def test_ramp_folds_into_a_wedge_of_the_stated_height(paper):
    """The right triangle of slope, top and wall closes where the wall meets the foot."""
    _, slope = sheet(f"gutter-ramp-{paper}").pieces
    foot = np.array(slope.rise.foot_mm)
    lip = np.array(slope.fold_mm)
    assert lip[:, 1] - foot[:, 1] == pytest.approx(slope.rise.length_mm)
    labels = {t.words: t.at_mm[1] for t in sheet(f"gutter-ramp-{paper}").words if t.bold}
    wall_mm = labels["D"] - labels["C"]
    top_mm = labels["C"] - labels["B"]
    assert wall_mm == pytest.approx(slope.rise.height_mm)
    assert np.hypot(wall_mm, top_mm) == pytest.approx(slope.rise.length_mm)  # Pythagoras


@pytest.mark.parametrize("paper", PAPERS)
def test_ramp_has_edges_at_every_height(paper):
    _, slope = sheet(f"gutter-ramp-{paper}").pieces
    foot = slope.rise.foot_mm[0][1]
    scale = slope.rise.height_mm / slope.rise.length_mm
    for side in ("left", "right"):
        ends = sorted(
            sorted(scale * (y - foot) for _, y in (edge.start_mm, edge.end_mm))
            for edge in slope.edges
            if edge.name.startswith(f"bar-{side}")
        )
        assert ends[0][0] < 1.3
        assert ends[-1][1] > 10.7
        assert all(low == pytest.approx(high) for (_, high), (low, _) in itertools.pairwise(ends))


@pytest.mark.parametrize("paper", PAPERS)
def test_ramp_has_white_fields_up_its_whole_slope(paper):
    page = sheet(f"gutter-ramp-{paper}")
    for piece in page.pieces:
        low, high = np.min(piece.outline_mm, axis=0), np.max(piece.outline_mm, axis=0)
        y = np.linspace(low[1] + 0.1, high[1] - 0.1, 200)
        inward = np.linspace(2.5, 14.5, 12)
        x, y = np.meshgrid(np.concatenate([low[0] + inward, high[0] - inward]), y)
        assert cover_at(page, np.column_stack([x.ravel(), y.ravel()])).max() == 0


@pytest.mark.parametrize("paper", PAPERS)
def test_what_shows_through_falls_on_blank_paper(paper):
    page = sheet(f"back-print-{paper}")
    (piece,) = page.pieces
    covers = [patch.cover for patch in piece.back_patches]
    assert set(covers) == {0.0, 1.0}
    assert abs(covers.count(0.0) - covers.count(1.0)) <= 1
    behind = dataclasses.replace(page, pieces=(), shapes=page.back, words=())
    u, v = (axis.reshape(-1) for axis in np.meshgrid(np.linspace(0, 1, 40), np.linspace(0, 1, 40)))
    for patch in piece.back_patches:
        left, top, right, bottom = patch.box_mm
        assert min(right - left, bottom - top) >= 15
        inside = np.column_stack([left + u * (right - left), top + v * (bottom - top)])
        assert cover_at(page, inside).max() == 0  # the front is blank there
        for dx, dy in ((0, 0), (2, 2), (-2, -2), (2, -2), (-2, 2)):  # mm, careless duplex
            assert np.all(cover_at(behind, inside + np.array([dx, dy])) == patch.cover)
