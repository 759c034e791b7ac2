import pytest

from taskkit.geometry.depths import IslandDepth, SideDepth, edge_depths
from taskkit.geometry.line import MetreLine

RECTANGLE = [(0, 0), (400, 0), (400, 200), (0, 200)]
HOLE = [(90, 40), (110, 40), (110, 60), (90, 60)]


def part(*rings):
    return tuple(MetreLine(ring) for ring in rings)


def depth_by_edge(depths):
    return {(tuple(a), tuple(b)): d for (a, b), d in zip(depths.edges.tolist(), depths.depth_m.tolist(), strict=True)}


def test_a_side_runs_with_the_field_on_the_left_whichever_way_the_ring_was_written():
    road = SideDepth((400, 0), (0, 200), 24.0)
    for ring in (RECTANGLE, RECTANGLE[::-1]):
        assert depth_by_edge(edge_depths([part(ring)], depth_m=6.0, sides=[road])) == {
            ((0, 0), (400, 0)): 6,
            ((400, 0), (400, 200)): 24,
            ((400, 200), (0, 200)): 24,
            ((0, 200), (0, 0)): 6,
        }


def test_a_side_may_run_past_the_point_where_the_ring_begins():
    depths = depth_by_edge(edge_depths([part(RECTANGLE)], depth_m=6.0, sides=[SideDepth((0, 200), (400, 0), 0.0)]))
    assert list(depths.values()) == [0, 6, 6, 0]


def test_a_side_of_a_hole_runs_clockwise():
    side = SideDepth((90, 40), (90, 60), 3.0)
    depths = edge_depths([part(RECTANGLE, HOLE)], depth_m=6.0, sides=[side])
    assert [edge for edge, depth in depth_by_edge(depths).items() if depth == 3] == [((90, 40), (90, 60))]
    assert depths.along[depths.owner[depths.depth_m == 3][0]].side == 0


def test_corners_are_the_nearest_points_of_the_outline():
    side = SideDepth((-3, 4), (396, -5), 0.0)
    assert depth_by_edge(edge_depths([part(RECTANGLE)], depth_m=6.0, sides=[side]))[(0, 0), (400, 0)] == 0


def test_where_two_parts_share_a_corner_the_other_end_tells_which_is_meant():
    west, east = part(RECTANGLE), part([(400, 0), (700, 0), (700, 200), (400, 200)])
    side = SideDepth((400, 0), (700, 0), 0.0)
    depths = edge_depths([west, east], depth_m=6.0, sides=[side])
    assert [edge for edge, depth in depth_by_edge(depths).items() if depth == 0] == [((400, 0), (700, 0))]


def test_holes_are_counted_through_all_parts():
    second = [[(500, 0), (900, 0), (900, 200), (500, 200)], [(590, 40), (610, 40), (610, 60), (590, 60)]]
    depths = edge_depths([part(RECTANGLE, HOLE), part(*second)], depth_m=6.0, holes={2: 9.0})
    assert {edge[0] for edge, depth in depth_by_edge(depths).items() if depth == 9} == set(second[1])
    assert [(a.part, a.hole) for a in depths.along] == [(0, None), (0, 1), (1, None), (1, 2)]


def test_each_edge_is_followed_by_the_one_that_begins_where_it_ends():
    islands = [IslandDepth(MetreLine([(10, 10), (20, 10), (20, 20)]), 3.0), IslandDepth(MetreLine([(50, 50)]), 3.0)]
    depths = edge_depths([part(RECTANGLE, HOLE)], depth_m=6.0, islands=islands)
    assert (depths.edges[depths.following, 0] == depths.edges[:, 1]).all()


def test_repeated_points_of_the_outline_do_not_count():
    depths = edge_depths([part([*RECTANGLE, RECTANGLE[-1], RECTANGLE[0]])], depth_m=6.0)
    assert len(depths.edges) == 4


def test_two_sides_of_one_depth_may_lie_on_each_other_and_the_first_has_the_edge():
    sides = [SideDepth((0, 0), (400, 200), 9.0), SideDepth((400, 0), (0, 200), 9.0)]
    depths = edge_depths([part(RECTANGLE)], depth_m=6.0, sides=sides)
    assert [depths.along[n].side for n in depths.owner] == [0, 0, 1, None]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (
            {"sides": [SideDepth((1, 1), (-1, 1), 0.0, "road")]},
            "both corners of road are the same point of the outline",
        ),
        ({"sides": [SideDepth((0, 0), (90, 40), 0.0, "road")]}, "the corners of road lie on different rings"),
        (
            {"sides": [SideDepth((0, 0), (400, -10.2), 0.0, "road")]},
            "the last corner of road is 10.2 m from the nearest point of the outline, farther than 10 m",
        ),
        (
            {"sides": [SideDepth((float("nan"), 0), (400, 0), 0.0, "road")]},
            "the first corner of road lies nowhere near the outline",
        ),
        (
            {"sides": [SideDepth((0, 0), (400, 200), 9.0, "road"), SideDepth((400, 0), (0, 200), 0.0, "ditch")]},
            "ditch and road lie on each other, and their depths differ",
        ),
        ({"holes": {2: 3.0}}, "there is no hole 2: the outline has 1"),
        ({"holes": {0: 3.0}}, "there is no hole 0: the outline has 1"),
        ({"holes": {1: -3.0}}, "the depth of hole 1 is -3 m; it is 0 or more"),
        ({"sides": [SideDepth((0, 0), (400, 0), -1.0, "road")]}, "the depth of road is -1 m"),
        ({"islands": [IslandDepth(MetreLine([(9, 9)]), float("inf"), "pole")]}, "the depth of pole is inf m"),
        ({"islands": [IslandDepth(MetreLine([]), 1.0, "pole")]}, "pole has no points"),
        (
            {"islands": [IslandDepth((part([(0, 0), (9, 9), (9, 0), (0, 9)]),), 1.0, "pond")]},
            "pond is not sound: its rings cross themselves or each other",
        ),
        ({"depth_m": float("nan")}, "the depth of the headland is nan m"),
    ],
)
def test_what_has_no_place_or_no_depth_is_refused_in_words(given, message):
    with pytest.raises(ValueError, match=message):
        edge_depths([part(RECTANGLE, HOLE)], **{"depth_m": 6.0, **given})


def test_an_outline_that_is_not_sound_is_refused():
    with pytest.raises(ValueError, match="part 2 of the outline is not sound"):
        edge_depths([part(RECTANGLE), part([(0, 0), (9, 9), (9, 0), (0, 9)])], depth_m=6.0)
    with pytest.raises(ValueError, match="part 1 of the outline has a ring of fewer than 3 points"):
        edge_depths([part([(0, 0), (1, 1), (0, 0)][:2])], depth_m=6.0)
    with pytest.raises(ValueError, match="there is no outline"):
        edge_depths([], depth_m=6.0)
