import math
import os
import time

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from taskkit.geometry.edges import edges_of
from taskkit.geometry.hausdorff import SLACK_M, hausdorff_m
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.nearest import NearestEdge, Unbounded
from taskkit.geometry.outlines import RingPlace, compare_outlines, open_ring
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.vertices import match_vertices

LONG = bool(os.environ.get("TASKKIT_LONG"))
PLANE = LocalPlane(9.5, 54.0)
SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]
HOLE = [(40, 40), (60, 40), (60, 60), (40, 60)]
FIELD = [(0, 0), (80, -10), (200, 5), (230, 90), (180, 160), (120, 130), (60, 170), (-20, 90)]


def ring(points):
    return LonLatLine(PLANE.degrees(np.array(points, dtype=float)))


def part(outer, *holes):
    return Part(ring(outer), map(ring, holes))


def shifted(points, east, north):
    return [(x + east, y + north) for x, y in points]


def with_point(points, number, place):
    return [*points[:number], place, *points[number + 1 :]]


def compared(a, b):
    return compare_outlines([part(a)], [part(b)])


def wavy(count):
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return 1000 * np.column_stack((np.cos(turn) * (1 + 0.2 * np.sin(9 * turn)), np.sin(turn)))


# --- moves -----------------------------------------------------------------------------------------------------


@given(
    st.integers(0, len(FIELD) - 1),
    st.floats(0.0001, 30),
    st.floats(0, 359.999),
    st.integers(0, len(FIELD) - 1),
    st.booleans(),
)
def test_one_point_moved_is_told_with_distance_direction_and_place(number, metres, azimuth, start, backwards):
    before = [tuple(p) for p in ring(FIELD)]
    lon, lat = before[number]
    # The reference library places the moved point; we must find its distance and direction again.
    there = Geodesic.WGS84.Direct(lat, lon, azimuth, metres)
    after = with_point(before, number, (there["lon2"], there["lat2"]))
    after = after[start:] + after[:start]
    after = after[::-1] if backwards else after
    difference = compare_outlines([Part(LonLatLine(before))], [Part(LonLatLine(after))])
    move = difference.largest_move
    assert move.distance_mm == pytest.approx(metres * 1000, abs=1e-4)
    assert math.radians(abs((move.azimuth_deg - azimuth + 180) % 360 - 180)) * metres < 1e-6
    assert (move.lon_deg, move.lat_deg, move.ring, move.vertex) == (lon, lat, RingPlace(0, 0), number)
    assert (difference.added, difference.removed, difference.rings[0].matched) == (0, 0, len(FIELD))
    assert difference.hausdorff_mm <= move.distance_mm + 1e-3


@given(st.integers(0, 7), st.booleans(), st.booleans())
def test_a_ring_started_elsewhere_reversed_or_closed_is_equal(start, backwards, closed):
    before = [tuple(p) for p in ring(FIELD)]
    after = before[start:] + before[:start]
    after = after[::-1] if backwards else after
    after = [*after, after[0]] if closed else after
    difference = compare_outlines([Part(LonLatLine(before))], [Part(LonLatLine(after))])
    assert difference.equal
    assert (difference.largest_move_mm, difference.largest_move, difference.hausdorff_mm) == (0.0, None, 0.0)


def test_two_names_of_longitude_180_are_one_place():
    a, b = ([(179.999, 1), (side, 1), (side, 1.001)] for side in (180.0, -180.0))
    assert compare_outlines([Part(LonLatLine(a))], [Part(LonLatLine(b))]).equal


def test_a_whole_outline_moved_alike_keeps_its_points_however_dense():
    dense = wavy(3000) / 5
    difference = compared(dense, dense + np.array((3, 4)))
    assert difference.largest_move_mm == pytest.approx(5000, abs=1e-3)
    assert (difference.added, difference.removed) == (0, 0)


def test_a_whole_outline_moved_alike_with_a_point_gone_is_still_seen():
    dense = wavy(2000)
    difference = compared(dense, np.delete(dense + np.array((3, 4)), 700, axis=0))
    assert difference.largest_move_mm == pytest.approx(5000, abs=1e-2)
    assert difference.rings[0].removed == (700,)


def test_of_two_moves_the_greater_is_told():
    after = with_point(with_point(FIELD, 2, (200, 6)), 5, (120, 132))
    difference = compared(FIELD, after)
    assert difference.largest_move_mm == pytest.approx(2000, abs=1e-3)
    assert difference.largest_move.vertex == 5


def test_a_point_at_the_other_end_of_the_world_is_told_as_such():
    before = [tuple(p) for p in ring(FIELD)]
    after = with_point(before, 3, (-before[3][0] - 170, -before[3][1]))
    difference = compare_outlines([Part(LonLatLine(before))], [Part(LonLatLine(after))])
    theirs = Geodesic.WGS84.Inverse(before[3][1], before[3][0], after[3][1], after[3][0])["s12"]
    assert difference.largest_move_mm == pytest.approx(theirs * 1000, abs=1e-3)
    assert difference.largest_move.vertex == 3


# --- points that came and went ---------------------------------------------------------------------------------


@settings(max_examples=100 if LONG else 25)
@given(st.sets(st.integers(0, 39), max_size=12), st.integers(0, 39), st.booleans())
def test_points_taken_out_are_told_and_nothing_moved(gone, start, backwards):
    before = wavy(40)
    after = np.roll(np.delete(before, sorted(gone), axis=0), -start, axis=0)
    difference = compared(before, after[::-1] if backwards else after)
    assert difference.rings[0].removed == tuple(sorted(gone))
    assert (difference.added, difference.largest_move) == (0, None)
    assert compared(after, before).added == len(gone)


def test_a_point_gone_here_and_another_come_there_are_no_moves():
    dense = wavy(100)
    difference = compared(np.delete(dense, 10, axis=0), np.delete(dense, 60, axis=0))
    assert (difference.removed, difference.added, difference.largest_move) == (1, 1, None)
    assert difference.rings[0].removed == (59,)
    assert difference.rings[0].added == (10,)


def test_points_added_along_straight_edges_do_not_change_the_line():
    halves = [
        p
        for a, b in zip(SQUARE, SQUARE[1:] + SQUARE[:1], strict=True)
        for p in (a, ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2))
    ]
    difference = compared(SQUARE, halves)
    assert (difference.added, difference.removed, difference.largest_move) == (4, 0, None)
    assert difference.hausdorff_mm < 0.01  # the bend of a parallel of latitude does not enter: points lie on the plane
    assert not difference.equal


def test_moved_points_in_a_run_with_others_gone_are_matched_at_the_least_distance():
    before = np.array([(0, 0), (100, 0), (100, 10), (100, 20), (100, 30), (100, 100), (0, 100)], dtype=float)
    after = np.array([(0, 0), (100, 0), (103, 21), (100, 100), (0, 100)], dtype=float)
    difference = compared(before, after)
    assert difference.rings[0].removed == (2, 4)
    assert difference.largest_move_mm == pytest.approx(math.hypot(3, 1) * 1000, abs=1e-3)


# --- parts and holes -------------------------------------------------------------------------------------------


def test_parts_and_holes_are_paired_wherever_they_stand():
    a = [part(SQUARE, HOLE, shifted(HOLE, 25, 0)), part(shifted(SQUARE, 300, 0))]
    b = [part(shifted(SQUARE, 300, 0)), part(SQUARE, shifted(HOLE, 25, 0), HOLE)]
    difference = compare_outlines(a, b)
    assert difference.equal
    assert {(r.a, r.b) for r in difference.rings} == {
        ((0, 0), (1, 0)),
        ((0, 1), (1, 2)),
        ((0, 2), (1, 1)),
        ((1, 0), (0, 0)),
    }


def test_rings_that_one_side_lacks_are_named():
    a = [part(SQUARE, HOLE), part(shifted(SQUARE, 300, 0))]
    b = [part(SQUARE, shifted(HOLE, 30, 30))]
    difference = compare_outlines(a, b)
    assert difference.only_in_a == (RingPlace(0, 1), RingPlace(1, 0))
    assert difference.only_in_b == (RingPlace(0, 1),)
    assert difference.hausdorff_mm == pytest.approx(math.hypot(300, 0) * 1000, abs=1e-2)
    assert not difference.equal


def test_a_moved_part_and_a_moved_hole_are_found_by_nearness():
    a = [part(SQUARE, HOLE), part(shifted(SQUARE, 300, 0))]
    b = [part(shifted(SQUARE, 301, 0)), part(SQUARE, shifted(HOLE, 0, 3))]
    moves = {r.a: r.largest_move and r.largest_move.distance_mm for r in compare_outlines(a, b).rings}
    assert moves[(0, 0)] is None
    assert moves[(0, 1)] == pytest.approx(3000, abs=1e-3)
    assert moves[(1, 0)] == pytest.approx(1000, abs=1e-3)


def test_very_many_new_parts_are_paired_in_order():
    small = [(0, 0), (1, 0), (0, 1)]
    a, b = ([part(shifted(small, 3 * n + d, 0)) for n in range(1001)] for d in (0, 0.5))
    difference = compare_outlines(a, b)
    assert len(difference.rings) == 1001
    assert difference.largest_move_mm == pytest.approx(500, abs=1)


def test_an_outline_against_nothing():
    nothing = compare_outlines([], [])
    assert nothing.equal
    assert nothing.hausdorff_mm is None
    gone = compare_outlines([part(SQUARE, HOLE)], [])
    assert (gone.only_in_a, gone.hausdorff_mm, gone.equal) == ((RingPlace(0, 0), RingPlace(0, 1)), None, False)
    empty = compare_outlines([part(SQUARE)], [Part(LonLatLine([]))])
    assert empty.rings[0].removed == (0, 1, 2, 3)


def test_open_ring_leaves_an_open_ring_alone():
    assert open_ring(ring(SQUARE)) == ring(SQUARE) == open_ring(ring([*SQUARE, SQUARE[0]]))
    assert len(open_ring(LonLatLine([(1, 1)]))) == 1


# --- the distance of outlines ----------------------------------------------------------------------------------

micrometres = st.integers(-50_000_000, 50_000_000).map(lambda n: n / 1e6)
places = st.tuples(micrometres, micrometres)
rings = st.lists(places, min_size=3, max_size=7).map(lambda points: edges_of(np.array(points)))


def brute_force_m(a, b, step_m):
    """The directed distance over points so dense that it is at most half a step too small; GEOS only measures."""
    shares = np.linspace(0, 1, math.ceil(200 / step_m) + 1)[:, np.newaxis, np.newaxis]
    points = (a[:, 0] + shares * (a[:, 1] - a[:, 0])).reshape(-1, 2)
    return shapely.distance(shapely.points(points), shapely.MultiLineString(list(b))).max()


def test_the_published_case_of_a_distance_that_no_corner_shows():
    # The example of JTS and GEOS for a vertex-only measure that fails (DiscreteHausdorffDistance, class comment):
    # it gives 14.142 between these lines, the truth is above 70.
    a, b = (
        np.stack((p[:-1], p[1:]), axis=1)
        for p in (np.array([(0, 0), (100, 0), (10, 100), (10, 100.0)]), np.array([(0, 100), (0, 10), (80, 10.0)]))
    )
    lines = [
        shapely.LineString(points)
        for points in ([(0, 0), (100, 0), (10, 100), (10, 100)], [(0, 100), (0, 10), (80, 10)])
    ]
    assert shapely.hausdorff_distance(*lines) == pytest.approx(22.36, abs=0.01)
    assert shapely.hausdorff_distance(*lines, densify=0.001) == pytest.approx(hausdorff_m(a, b), abs=0.1)
    assert hausdorff_m(a, b) > 45


def test_squares_in_squares_have_the_closed_form_distance():
    outer, inner = (
        np.array(SQUARE, dtype=float),
        np.array(shifted([(0, 0), (80, 0), (80, 80), (0, 80)], 10, 10), dtype=float),
    )
    assert hausdorff_m(edges_of(outer), edges_of(inner)) == pytest.approx(10 * math.sqrt(2), abs=SLACK_M)


def test_the_greatest_distance_may_lie_inside_an_edge():
    # Along the base of a triangle the two other sides are farthest from it in the middle: the inscribed half angle.
    base, sides = (
        np.array([[(0, 0), (100, 0)]], dtype=float),
        np.array([[(0, 0), (0, 0)], [(100, 0), (100, 0)]], dtype=float),
    )
    assert hausdorff_m(base, sides) == pytest.approx(50, abs=SLACK_M)


@settings(max_examples=200 if LONG else 40)
@given(rings, rings)
def test_it_is_what_brute_force_finds(a, b):
    step_m = 0.02 if LONG else 0.2
    theirs = max(brute_force_m(a, b, step_m), brute_force_m(b, a, step_m))
    assert theirs - SLACK_M - 1e-9 <= hausdorff_m(a, b) <= theirs + step_m / 2 + 1e-9


@settings(max_examples=50)
@given(rings, rings, rings)
def test_it_is_a_metric(a, b, c):
    assert hausdorff_m(a, b) == pytest.approx(hausdorff_m(b, a), abs=2 * SLACK_M)
    assert hausdorff_m(a, c) <= hausdorff_m(a, b) + hausdorff_m(b, c) + 3 * SLACK_M
    assert hausdorff_m(a, a) < 1e-12


@given(rings, st.floats(-30, 30), st.floats(-30, 30))
def test_a_shift_moves_an_outline_no_farther_than_itself(a, east, north):
    assert hausdorff_m(a, a + np.array((east, north))) <= math.hypot(east, north) + SLACK_M


def test_there_is_no_distance_to_nothing():
    assert hausdorff_m(np.empty((0, 2, 2)), edges_of(np.array(SQUARE, dtype=float))) is None


# --- bounds ----------------------------------------------------------------------------------------------------


def test_a_search_that_would_be_quadratic_is_refused():
    turn = np.linspace(0, 2 * np.pi, 5_000, endpoint=False)
    circle = 1000 * np.column_stack((np.cos(turn), np.sin(turn)))
    centre = circle / 1e7
    with pytest.raises(Unbounded):
        NearestEdge(edges_of(circle)).to(centre)
    scribble = edges_of(np.random.default_rng(5).normal(size=(8_000, 2)))
    assert hausdorff_m(scribble, edges_of(circle)) is None
    assert len(match_vertices(circle, centre[1:]).a) == len(centre) - 1


def test_rings_far_from_each_other_are_still_matched_as_far_as_they_go():
    corners, pentagon = np.array(SQUARE, dtype=float), np.array([*SQUARE, (-20, 50)], dtype=float) + 1e5
    assert len(match_vertices(corners, pentagon).a) == 4


def test_order_is_kept_where_nearness_alone_would_tangle():
    before = wavy(400)
    after = before.copy()
    after[100:120] = after[100:120][::-1]
    matching = match_vertices(before, np.delete(after, 300, axis=0))
    assert (np.diff(matching.b) > 0).sum() >= len(matching.b) - 2


@pytest.mark.parametrize(
    "many", [5_000, pytest.param(100_000, marks=pytest.mark.skipif(not LONG, reason="TASKKIT_LONG is not set"))]
)
def test_big_rings_are_compared_without_hanging(many):
    begin = time.process_time()
    big, chance = wavy(many), np.random.default_rng(3)
    moved = big.copy()
    moved[many // 3] += (3, 4)
    assert compared(big, np.roll(moved[::-1], 7, axis=0)).largest_move_mm == pytest.approx(5000, abs=1e-3)
    assert compared(big, big[::2]).removed == many // 2
    assert compared(big, big * 1.5).largest_move_mm > 1e5
    assert compared(big, chance.normal(size=(many * 2 // 3, 2)) * 500).largest_move_mm > 0
    assert compared(big, [(0, 0)] * many + [(1, 0), (0, 1)]).hausdorff_mm > 0
    # Quadratic work would take many minutes; seconds are no promise, only a far-off stop.
    assert time.process_time() - begin < 120
