import math
import time
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from taskkit.geometry.line import MetreLine
from taskkit.geometry.polygons import Trouble, inset, overlaps, part_problems, ring_problems, signed_area_m2

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]
HOLE = [(40, 40), (60, 40), (60, 60), (40, 60)]
INSET_SHAPES = {
    "rectangle": [[(0, 0), (400, 0), (400, 200), (0, 200)]],
    "triangle": [[(0, 0), (300, 0), (0, 400)]],
    "l-shape": [[(0, 0), (300, 0), (300, 100), (120, 100), (120, 240), (0, 240)]],
    "corridor": [
        [
            *[(0, 0), (200, 0), (200, 90), (300, 90), (300, 0), (500, 0)],
            *[(500, 200), (300, 200), (300, 110), (200, 110), (200, 200), (0, 200)],
        ]
    ],
    "holed": [[(0, 0), (200, 0), (200, 100), (0, 100)], [(90, 40), (110, 40), (110, 60), (90, 60)]],
}


def part(*rings):
    return tuple(MetreLine(ring) for ring in rings)


def told(*rings):
    return [
        (p.trouble, round(p.east_m, 6), round(p.north_m, 6), p.ring, p.vertex, p.other)
        for p in part_problems(part(*rings))
    ]


def shifted(ring, east=0.0, north=0.0):
    return [(x + east, y + north) for x, y in ring]


def comb(teeth):
    """A valid ring whose edges nearly all have boxes over each other: GEOS needs minutes for a big one."""
    number = np.arange(teeth)
    bottom = np.column_stack((number * 0.01 + 0.005, np.zeros(teeth)))
    top = np.column_stack((number * 0.01 + 1000, np.full(teeth, 1000.0)))
    zigzag = np.stack((bottom, top), axis=1).reshape(-1, 2)
    return np.vstack((zigzag, [(teeth * 0.01 + 1005, 1000), (teeth * 0.01 + 1005, -10), (0, -10)]))


def test_sound_rings_and_holes_have_no_problem():
    assert told(SQUARE) == told(SQUARE[::-1]) == told(SQUARE, HOLE) == told(SQUARE, HOLE, shifted(HOLE, 25)) == []


def test_a_hole_may_touch_its_outer_ring_at_one_point():
    assert told(SQUARE, [(0, 50), (20, 40), (20, 60)]) == []


def test_a_bow_tie_is_told_where_it_crosses():
    assert told([(0, 0), (2, 2), (2, 0), (0, 2)]) == [(Trouble.CROSSING, 1, 1, 0, 0, None)]


def test_a_closing_point_is_a_repeated_point():
    assert told([*SQUARE, SQUARE[0]]) == [(Trouble.REPEATED_POINT, 0, 0, 0, 4, None)]


def test_points_half_a_coordinate_step_apart_repeat_and_a_step_apart_do_not():
    assert [p[0] for p in told([*SQUARE, (0.00005, 100)])] == [Trouble.REPEATED_POINT]
    assert told([*SQUARE, (0, 99.9998)]) == []


def test_a_spike_is_told_at_its_tip():
    ring = [(0, 0), (100, 0), (100, 100), (50, 100), (50, 150), (50, 100), (0, 100)]
    assert told(ring) == [(Trouble.SPIKE, 50, 150, 0, 4, None)]


def test_a_spike_of_several_points_is_told_at_each():
    ring = [(0, 0), (100, 0), (100, 100), (50, 100), (50, 120), (50, 150), (50, 120), (50, 100), (0, 100)]
    assert [(p[0], p[2]) for p in told(ring)] == [(Trouble.SPIKE, 150), (Trouble.SPIKE, 120)]


def test_a_spike_is_narrower_than_a_millimetre():
    def wide(width_m):
        return told([(0, 0), (100, 0), (100, 100), (50, 100), (50, 150), (50 - width_m, 100), (0, 100)])

    assert wide(0.0009) == [(Trouble.SPIKE, 50, 150, 0, 4, None)]
    assert wide(0.0011) == []


def test_a_long_spike_shows_as_touches_rather_than_endless_work():
    far = [(x, 0) for x in range(5000)]
    troubles = {p[0] for p in told([(0, -50), *far, *far[-2:0:-1], (-50, 0)])}
    assert Trouble.SPIKE in troubles
    assert Trouble.TOUCHING in troubles


def test_a_corridor_of_no_width_touches_itself():
    ring = [
        (0, 0),
        (50, 0),
        (50, 40),
        (60, 40),
        (60, 60),
        (40, 60),
        (40, 40),
        (50, 40),
        (50, 0),
        (100, 0),
        (100, 100),
        (0, 100),
    ]
    assert [p[:3] for p in told(ring)] == [(Trouble.TOUCHING, 50, 0), (Trouble.TOUCHING, 50, 40)]


def test_a_ring_that_meets_itself_in_a_point_touches():
    assert told([(0, 0), (50, 50), (100, 0), (100, 100), (50, 50), (0, 100)]) == [
        (Trouble.TOUCHING, 50, 50, 0, 0, None)
    ]


def test_reaching_through_by_less_than_a_millimetre_is_a_touch():
    def nib(depth_m):
        return [p[0] for p in told([(0, 0), (100, 0), (100, 100), (60, 100), (50, -depth_m), (40, 100), (0, 100)])]

    assert nib(0.0009) == [Trouble.TOUCHING]
    assert nib(0.0011) == [Trouble.CROSSING]


@pytest.mark.parametrize("ring", [[], [(1, 1)] * 10, [(0, 0), (10, 0)]])
def test_two_points_are_no_ring(ring):
    assert [p[0] for p in told(ring)] == [Trouble.TOO_FEW_POINTS]
    assert [(p[0], p[3]) for p in told(SQUARE, ring)] == [(Trouble.TOO_FEW_POINTS, 1)]


def test_a_ring_without_inside_is_all_spikes():
    assert {p[0] for p in told([(0, 0), (10, 0), (20, 0)])} == {Trouble.SPIKE}


def test_other_rings_are_still_judged_beside_one_that_is_none():
    assert [(p[0], p[3]) for p in told([(0, 0), (2, 2), (2, 0), (0, 2)], [(1, 1)])] == [
        (Trouble.TOO_FEW_POINTS, 1),
        (Trouble.CROSSING, 0),
    ]


def test_a_hole_outside_is_told():
    assert told(SQUARE, shifted(HOLE, 100)) == [(Trouble.HOLE_OUTSIDE, 140, 40, 1, 0, 0)]


def test_a_hole_across_the_outer_ring_is_told_at_both_places():
    assert told(SQUARE, shifted(HOLE, 50)) == [
        (Trouble.HOLE_CROSSES_OUTER, 100, 40, 1, 0, 0),
        (Trouble.HOLE_CROSSES_OUTER, 100, 60, 1, 2, 0),
    ]


def test_holes_that_cross_or_hold_each_other_are_told():
    assert [(p[0], p[3], p[5]) for p in told(SQUARE, HOLE, shifted(HOLE, 10, 10))] == [
        (Trouble.HOLES_OVERLAP, 2, 1)
    ] * 2
    assert [(p[0], p[3], p[5]) for p in told(SQUARE, HOLE, [(45, 45), (55, 45), (55, 55)])] == [
        (Trouble.HOLES_OVERLAP, 2, 1)
    ]
    assert [(p[0], p[3], p[5]) for p in told(SQUARE, HOLE, HOLE)] == [(Trouble.HOLES_OVERLAP, 2, 1)]


def test_a_hole_that_cuts_its_part_in_pieces_is_told():
    assert [p[0] for p in told(SQUARE, [(0, 50), (50, 0), (100, 50), (50, 100)])] == [Trouble.FALLS_APART]


def test_a_hole_that_pokes_out_by_a_hair_touches():
    assert [p[0] for p in told(SQUARE, [(-1e-7, 50), (20, 40), (20, 60)])] == [Trouble.TOUCHING]


def test_vertex_numbers_are_those_of_the_ring_as_given():
    ring = [(0, 0), (0, 0), (2, 2), (2, 2), (2, 0), (0, 2)]
    assert [(p.trouble, p.vertex) for p in ring_problems(MetreLine(ring), number=3)] == [
        (Trouble.REPEATED_POINT, 1),
        (Trouble.REPEATED_POINT, 3),
        (Trouble.CROSSING, 0),
    ]


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=10))
def test_no_problem_means_valid_to_the_reference_library_and_the_other_way_round(points):
    # GEOS's validity, the rules of OGC 06-103r4.
    problems = [p for p in ring_problems(MetreLine(points)) if p.trouble is not Trouble.REPEATED_POINT]
    assert shapely.Polygon(points).is_valid == (not problems)


@given(st.lists(st.tuples(st.floats(-900, 900), st.floats(-900, 900)), min_size=3, max_size=9, unique=True))
def test_every_crossing_lies_on_two_edges(points):
    for problem in ring_problems(MetreLine(points)):
        if problem.trouble is Trouble.CROSSING:
            place = shapely.Point(problem.east_m, problem.north_m)
            edges = [shapely.LineString([points[n], points[n - 1]]) for n in range(len(points))]
            # A spike, which goes first, is up to a millimetre wide.
            assert sum(shapely.dwithin(edge, place, 0.002) for edge in edges) >= 2


@pytest.mark.parametrize(
    "ring",
    [
        comb(50_000),
        np.random.default_rng(7).normal(size=(100_000, 2)) * 100,
        [(0.0, 0.0)] * 99_998 + [(1.0, 1.0), (2.0, 0.0)],
    ],
    ids=["comb", "scribble", "standstill"],
)
def test_a_hundred_thousand_nasty_points_do_not_hang(ring):
    begin = time.process_time()
    assert part_problems(part(ring))
    assert part_problems(part([(-1e4, -1e4), (1e4, -1e4), (1e4, 1e4), (-1e4, 1e4)], ring))
    overlaps([[part(ring)], [part(SQUARE)]])
    # Without its bounds the comb alone takes minutes; seconds are no promise, only a far-off stop.
    assert time.process_time() - begin < 30


def test_a_tangle_is_told_as_such_and_its_place_named():
    (problem,) = ring_problems(MetreLine(comb(50_000)), number=2)
    assert (problem.trouble, problem.ring, problem.east_m) == (Trouble.TANGLED, 2, 0.005)


def test_a_big_sound_ring_is_no_tangle():
    turn = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    assert (
        part_problems(part(1000 * np.column_stack((np.cos(turn) * (1 + 0.2 * np.sin(9 * turn)), np.sin(turn))))) == ()
    )


def test_only_so_many_places_are_told():
    star = 2 * np.pi * np.arange(1001) * 500 / 1001
    assert len(ring_problems(MetreLine(1000 * np.column_stack((np.cos(star), np.sin(star)))))) == 100


def test_very_many_holes_over_each_other_are_left_unfinished():
    problems = part_problems(part([(0, 0), (9, 0), (9, 9), (0, 9)], *[[(1, 1), (8, 1), (8, 8), (1, 8)]] * 70))
    assert problems[-1].trouble is Trouble.TANGLED


def test_signed_area_tells_the_direction():
    assert signed_area_m2(MetreLine(SQUARE)) == 10000 == -signed_area_m2(MetreLine(SQUARE[::-1]))
    assert signed_area_m2(MetreLine(SQUARE[:2])) == 0


@given(st.lists(st.tuples(st.floats(-900, 900), st.floats(-900, 900)), min_size=3, max_size=9), st.floats(-1e5, 1e5))
def test_area_is_that_of_the_reference_library(points, away):
    ring = shifted(points, away, -away)
    theirs = shapely.Polygon(ring).area
    assert abs(signed_area_m2(MetreLine(ring))) == pytest.approx(theirs, rel=1e-9, abs=1e-4)


def test_areas_that_overlap_are_told_and_neighbours_are_not():
    areas = [[part(SQUARE)], [part(shifted(SQUARE, 100))], [part(shifted(SQUARE, 90, 90))]]
    found = overlaps(areas)
    assert [(o.first, o.second, round(o.area_m2, 6)) for o in found] == [(0, 2, 100), (1, 2, 900)]
    assert all(90 < o.east_m < 190 and 90 < o.north_m < 100 for o in found)


def test_a_strip_narrower_than_a_millimetre_is_a_shared_edge():
    assert overlaps([[part(SQUARE)], [part(shifted(SQUARE, 99.9991))]]) == ()
    assert len(overlaps([[part(SQUARE)], [part(shifted(SQUARE, 99.9989))]])) == 1


def test_an_area_in_a_hole_does_not_overlap_and_bad_rings_count_by_what_they_enclose():
    assert overlaps([[part(SQUARE, HOLE)], [part(HOLE)]]) == ()
    bow_tie = [(0, 0), (20, 20), (20, 0), (0, 20)]
    (found,) = overlaps([[part(bow_tie)], [part(SQUARE), part([(500, 500)])]])
    assert found.area_m2 == pytest.approx(200)


def inset_rows():
    lines = (REFERENCE / "insets.tsv").read_text().splitlines()
    return [line.split("\t") for line in lines if not line.startswith("#")][1:]


@pytest.mark.parametrize(("shape", "distance", "area", "parts", "holes"), inset_rows())
def test_insets_have_the_closed_form_areas(shape, distance, area, parts, holes):
    distance_m = float(distance)
    found = inset(part(*INSET_SHAPES[shape]), distance_m=distance_m, arc_segments=16)
    total = sum(abs(signed_area_m2(p[0])) - sum(abs(signed_area_m2(h)) for h in p[1:]) for p in found)
    # A chord cuts inside its arc: t^2 (pi/4 - n/2 sin(pi / 2n)) for each quarter circle; four at most here.
    slack = 4 * distance_m**2 * (math.pi / 4 - 8 * math.sin(math.pi / 32))
    assert float(area) - 1e-5 <= total <= float(area) + slack + 1e-5
    assert len(found) == int(parts)
    assert sum(len(p) - 1 for p in found) == int(holes)


def test_an_inset_outward_is_refused():
    with pytest.raises(ValueError, match="negative"):
        inset(part(SQUARE), distance_m=-1)
