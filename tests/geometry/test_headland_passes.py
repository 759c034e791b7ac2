import math
from pathlib import Path

import counted
import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from taskkit.geometry import headland_passes as module
from taskkit.geometry.depths import IslandDepth, SideDepth, edge_depths
from taskkit.geometry.headland_passes import Change, headland_passes
from taskkit.geometry.headlands import passes_asked
from taskkit.geometry.line import MetreLine
from taskkit.geometry.nearest import Unbounded
from taskkit.geometry.tolerances import HEADLAND_PASS_M

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
RECTANGLE = [(0, 0), (400, 0), (400, 200), (0, 200)]
HOLED = [[(0, 0), (200, 0), (200, 100), (0, 100)], [(90, 40), (110, 40), (110, 60), (90, 60)]]
CORRIDOR = [
    *[(0, 0), (200, 0), (200, 90), (300, 90), (300, 0), (500, 0)],
    *[(500, 200), (300, 200), (300, 110), (200, 110), (200, 200), (0, 200)],
]
SHAPES = {
    "rectangle": RECTANGLE,
    "triangle": [(0, 0), (300, 0), (0, 400)],
    "hexagon": [(100 * math.cos(n * math.pi / 3), 100 * math.sin(n * math.pi / 3)) for n in range(6)],
}
REFERENCE_LENGTHS = [
    (shape, int(passes), float(spacing_m), [float(word) for word in lengths.split()])
    for shape, passes, spacing_m, _, _, lengths in (
        line.split("\t")
        for line in (REFERENCE / "headlands.tsv").read_text(encoding="utf-8").splitlines()
        if not line.startswith(("#", "shape"))
    )
    if lengths != "-"
]


def part(*rings):
    return tuple(MetreLine(ring) for ring in rings)


def told(found):
    return [(change.number, change.change, change.pieces) for change in found.changes]


@pytest.mark.parametrize(("shape", "passes", "spacing_m", "lengths_m"), REFERENCE_LENGTHS)
def test_passes_round_convex_shapes_are_as_long_as_reckoned(shape, passes, spacing_m, lengths_m):
    depths = edge_depths([part(SHAPES[shape])], depth_m=passes * spacing_m)
    found = headland_passes(depths, spacing_m=spacing_m)
    assert [(p.number, p.closed) for p in found.passes] == [(n + 1, True) for n in range(passes)]
    assert [counted.length_m(p.line, closed=True) for p in found.passes] == pytest.approx(lengths_m, abs=1e-4)
    assert found.changes == ()


def test_a_pass_has_the_main_field_on_its_left():
    found = headland_passes(edge_depths([part(*HOLED)], depth_m=6.0), spacing_m=6.0)
    outer, inner = (p.line.points for p in found.passes)
    x, y = outer.T
    assert (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() > 0
    x, y = inner.T
    assert (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() < 0


def test_round_a_reflex_corner_a_pass_is_an_arc_of_few_points():
    found = headland_passes(edge_depths([part(*HOLED)], depth_m=6.0), spacing_m=6.0)
    line = found.passes[1].line
    assert counted.length_m(line, closed=True) == pytest.approx(80 + 2 * math.pi * 3, abs=4 * HEADLAND_PASS_M)
    assert len(line) < 80


def test_a_side_without_headland_has_no_pass_and_the_others_end_at_the_boundary():
    depths = edge_depths([part(RECTANGLE)], depth_m=12.0, sides=[SideDepth((0, 0), (400, 0), 0.0)])
    found = headland_passes(depths, spacing_m=6.0)
    assert [(p.number, p.closed, list(p.line)) for p in found.passes] == [
        (1, False, [(397, 0), (397, 197), (3, 197), (3, 0)]),
        (2, False, [(391, 0), (391, 191), (9, 191), (9, 0)]),
    ]


def test_a_pass_ends_at_the_ground_that_the_passes_of_a_shallower_side_work():
    depths = edge_depths([part(RECTANGLE)], depth_m=12.0, sides=[SideDepth((0, 0), (400, 0), 5.0)])
    first, second = headland_passes(depths, spacing_m=6.0).passes
    assert first.closed
    assert list(second.line) == [(391, 6), (391, 191), (9, 191), (9, 6)]


def test_two_sides_that_do_not_meet_have_a_line_each():
    sides = [SideDepth((0, 0), (400, 0), 6.0), SideDepth((400, 200), (0, 200), 6.0)]
    found = headland_passes(edge_depths([part(RECTANGLE)], depth_m=0.0, sides=sides), spacing_m=6.0)
    lines = sorted((p.stretches[0].along.side, list(p.line)) for p in found.passes)
    assert lines == [(0, [(0, 3), (400, 3)]), (1, [(400, 197), (0, 197)])]


def test_a_closed_pass_tells_what_it_runs_along_and_falls_into_one_line_per_side():
    sides = [SideDepth((0, 0), (400, 0), 6.0), SideDepth((400, 200), (0, 200), 6.0)]
    (closed,) = headland_passes(edge_depths([part(RECTANGLE)], depth_m=6.0, sides=sides), spacing_m=6.0).passes
    lines = closed.by_side()

    assert closed.closed
    assert sorted(str(s.along.side) for s in closed.stretches) == ["0", "1", "None", "None"]
    assert closed.stretches[0].first == 0
    assert [p.closed for p in lines] == [False] * 4
    assert {p.stretches[0].along.side: list(p.line) for p in lines if p.stretches[0].along.side is not None} == {
        0: [(3, 3), (397, 3)],
        1: [(397, 197), (3, 197)],
    }
    assert sum(counted.length_m(p.line, closed=False) for p in lines) == counted.length_m(closed.line, closed=True)


@pytest.mark.parametrize("turn_deg", range(0, 90, 10))
def test_the_arc_round_a_corner_between_two_sides_belongs_to_the_first(turn_deg):
    turn = math.radians(turn_deg)
    corners = [(0, 0), (300, 0), (300, 100), (120, 100), (120, 240), (0, 240)]
    ring = [(x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)) for x, y in corners]
    sides = [SideDepth(ring[2], ring[3], 6.0), SideDepth(ring[3], ring[4], 6.0)]
    (line,) = headland_passes(edge_depths([part(ring)], depth_m=6.0, sides=sides), spacing_m=6.0).passes
    lengths = {p.stretches[0].along.side: counted.length_m(p.line, closed=False) for p in line.by_side()}
    assert len(line.stretches) == 3
    assert lengths[0] == pytest.approx(180 - 3 + math.pi * 3 / 2, abs=0.05)
    assert lengths[1] == pytest.approx(140 - 3, abs=0.05)


def test_an_open_pass_falls_into_lines_that_join_at_their_ends():
    sides = [SideDepth((0, 0), (400, 0), 0.0), SideDepth((400, 0), (400, 200), 6.0)]
    (line,) = headland_passes(edge_depths([part(RECTANGLE)], depth_m=6.0, sides=sides), spacing_m=6.0).passes
    assert [list(p.line) for p in line.by_side()] == [[(397, 0), (397, 197)], [(397, 197), (3, 197), (3, 0)]]


def test_a_pass_along_one_thing_stays_whole():
    (line,) = headland_passes(edge_depths([part(RECTANGLE)], depth_m=6.0), spacing_m=6.0).passes
    assert line.by_side() == (line,)


def test_islands_have_passes_of_their_own():
    islands = [
        IslandDepth(MetreLine([(50, 50)]), 12.0, "pole"),
        IslandDepth(MetreLine([(150, 50), (250, 50)]), 6.0, "fence"),
        IslandDepth((part([(330, 80), (350, 80), (350, 120), (330, 120)]),), 0.0, "pond"),
    ]
    found = headland_passes(edge_depths([part(RECTANGLE)], depth_m=0.0, islands=islands), spacing_m=6.0)
    lengths = [(p.number, p.stretches[0].along.island, counted.length_m(p.line, closed=True)) for p in found.passes]
    expected = [(1, 0, 6 * math.pi), (1, 1, 200 + 6 * math.pi), (2, 0, 18 * math.pi)]
    assert sorted(lengths) == [pytest.approx(row, abs=0.06) for row in expected]
    assert all(p.closed for p in found.passes)


def test_ground_that_splits_is_told_with_the_pass_that_does_it():
    found = headland_passes(edge_depths([part(CORRIDOR)], depth_m=18.0), spacing_m=6.0)
    assert told(found) == [(3, Change.SPLITS, 2)]
    assert [p.number for p in found.passes] == [1, 2, 3, 3]


def test_a_pass_round_an_island_that_runs_into_the_outer_one_is_told():
    # The hole is 40 m from the long sides: both strips meet at 20 m, and fall apart at once.
    found = headland_passes(edge_depths([part(*HOLED)], depth_m=24.0), spacing_m=6.0)
    assert told(found) == [(4, Change.SPLITS, 2), (4, Change.JOINS, 2)]
    # To the east it is nearer: there they meet first, and the ground stays one.
    shifted = [HOLED[0], [(x + 60, y) for x, y in HOLED[1]]]
    found = headland_passes(edge_depths([part(*shifted)], depth_m=18.0), spacing_m=6.0)
    assert told(found) == [(3, Change.JOINS, 1)]


def test_ground_that_is_used_up_is_told_and_ends_the_passes():
    parts = [part([(0, 0), (100, 0), (100, 20), (0, 20)]), part([(0, 50), (100, 50), (100, 150), (0, 150)])]
    found = headland_passes(edge_depths(parts, depth_m=600.0), spacing_m=6.0)
    assert told(found) == [(3, Change.VANISHES, 0), (9, Change.VANISHES, 0)]
    assert [p.number for p in found.passes] == [1, 1, 2, 2, 3, 4, 5, 6, 7, 8]
    assert (found.changes[0].east_m, found.changes[0].north_m) == pytest.approx((50, 10), abs=5)


def test_no_more_passes_than_asked_for():
    depths = edge_depths([part(RECTANGLE)], depth_m=12.0)
    assert [p.number for p in headland_passes(depths, spacing_m=6.0, count=1).passes] == [1]
    assert headland_passes(depths, spacing_m=6.0, count=0).passes == ()


def test_a_thousand_passes_come_from_a_wrong_unit():
    with pytest.raises(ValueError, match="12000 headland passes are asked for, and at most 1000 are made"):
        headland_passes(edge_depths([part(RECTANGLE)], depth_m=12.0), spacing_m=0.001)


def test_edges_among_which_the_nearest_cannot_be_found_in_time_are_refused(monkeypatch):
    class Never:
        def __init__(self, edges):
            pass

        def to(self, points):
            raise Unbounded

    monkeypatch.setattr(module, "NearestEdge", Never)
    with pytest.raises(ValueError, match="would take minutes"):
        headland_passes(edge_depths([part(RECTANGLE)], depth_m=6.0), spacing_m=6.0)


@st.composite
def stars(draw):
    count = draw(st.integers(3, 12))
    radii = draw(st.lists(st.floats(30, 120), min_size=count, max_size=count))
    outer = [
        (r * math.cos(t), r * math.sin(t))
        for r, t in ((r, (n + draw(st.floats(0.1, 0.9))) * 2 * math.pi / count) for n, r in enumerate(radii))
    ]
    first, last = sorted(draw(st.sets(st.integers(0, count - 1), min_size=2, max_size=2)))
    return outer, first, last, draw(st.integers(0, 3)), draw(st.integers(0, 3))


@settings(max_examples=settings().max_examples // 4)
@given(stars())
def test_every_pass_keeps_its_distance_and_every_place_at_that_distance_has_one(field):
    outer, first, last, side, rest = field
    outline = shapely.Polygon(outer)
    assume(outline.is_valid and outline.exterior.is_ccw)
    spacing_m = 7.0
    sides = [SideDepth(outer[first], outer[last], side * spacing_m)]
    depths = edge_depths([part(outer)], depth_m=rest * spacing_m, sides=sides)
    asked = passes_asked(depths.depth_m, spacing_m=spacing_m)
    start_of_side = {outer[n] for n in range(first, last)}
    assert asked.tolist() == [side if tuple(e[0]) in start_of_side else rest for e in depths.edges.tolist()]

    passes = headland_passes(depths, spacing_m=spacing_m).passes

    for number in range(1, max(side, rest) + 1):
        away_m = (number - 0.5) * spacing_m
        asking, others = depths.edges[asked >= number], depths.edges[asked < number]
        worked_m = asked[asked < number] * spacing_m
        mine = [p for p in passes if p.number == number]
        for one in mine:
            points = np.concatenate((one.line.points, one.line.points[:1])) if one.closed else one.line.points
            points = np.concatenate((points, (points[1:] + points[:-1]) / 2))
            assert np.abs(counted.distances(points, asking).min(axis=1) - away_m).max() <= 2 * HEADLAND_PASS_M
            if len(others):
                assert (counted.distances(points, others) - worked_m).min() >= -2 * HEADLAND_PASS_M
        # Places at the distance: off the middle of each edge, and there only if nothing else is nearer.
        middle, along = asking.mean(axis=1), asking[:, 1] - asking[:, 0]
        left = np.column_stack((-along[:, 1], along[:, 0])) / np.hypot(*along.T)[:, None]
        places = middle + away_m * left
        free = counted.inside(places, [part(outer)])
        free &= counted.distances(places, asking).min(axis=1) >= away_m - 1e-9
        if len(others):
            free &= (counted.distances(places, others) - worked_m).min(axis=1) >= 2 * HEADLAND_PASS_M
        free &= counted.distances(places, depths.edges).min(axis=1) > 2 * HEADLAND_PASS_M
        if free.any():
            lines = [counted.edges_of([p.line])[: None if p.closed else -1] for p in mine]
            assert counted.distances(places[free], np.concatenate(lines)).min(axis=1).max() <= 2 * HEADLAND_PASS_M
