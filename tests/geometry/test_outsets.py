"""Areas grown outward: against closed forms, the geometry library's distances, and what cannot be grown."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from taskkit.geometry.edges import depth_m, edges_of, reach_m
from taskkit.geometry.line import MetreLine
from taskkit.geometry.outsets import moved_corners, outset
from taskkit.geometry.polygons import MetrePart, inset, signed_area_m2

SQUARE = MetreLine([(0, 0), (10, 0), (10, 10), (0, 10)])
ELL = MetreLine([(0, 0), (10, 0), (10, 5), (5, 5), (5, 10), (0, 10)])


def area(part: MetrePart) -> float:
    return abs(signed_area_m2(part[0])) - sum(abs(signed_area_m2(ring)) for ring in part[1:])


@st.composite
def stars(draw: st.DrawFn) -> MetreLine:
    """Rings that go round the origin once, with corners of any kind."""
    count = draw(st.integers(3, 12))
    radii = draw(st.lists(st.floats(30, 200), min_size=count, max_size=count))
    turns = [draw(st.floats(0.1, 0.9)) for _ in range(count)]
    return MetreLine(
        [
            (r * math.cos((n + t) * 2 * math.pi / count), r * math.sin((n + t) * 2 * math.pi / count))
            for n, (r, t) in enumerate(zip(radii, turns, strict=True))
        ]
    )


def test_a_corner_that_stands_back_stays_sharp_too() -> None:
    (grown,) = outset((ELL,), distance_m=1)

    assert grown.points.round(9).tolist() == [[-1, -1], [11, -1], [11, 6], [6, 6], [6, 11], [-1, 11]]


def test_holes_shrink_and_keep_their_order_and_direction() -> None:
    holes = [MetreLine([(6, 6), (6, 9), (9, 9), (9, 6)]), MetreLine([(1, 1), (4, 1), (4, 4), (1, 4)])]

    grown = outset((SQUARE, *holes), distance_m=1)

    assert [ring.points.round(9).tolist() for ring in grown[1:]] == [
        [[7, 7], [7, 8], [8, 8], [8, 7]],
        [[2, 2], [3, 2], [3, 3], [2, 3]],
    ]


@pytest.mark.parametrize("reverse", [False, True])
def test_a_ring_keeps_its_direction_and_where_it_begins(reverse: bool) -> None:
    ring = MetreLine(ELL.points[::-1] if reverse else ELL.points)

    (grown,) = outset((ring,), distance_m=0.5)

    assert np.hypot(*(grown.points - ring.points).T).tolist() == pytest.approx([math.sqrt(0.5)] * 6)
    assert grown.points == pytest.approx(moved_corners(ring, distance_m=0.5).points)


def test_a_very_sharp_corner_is_cut_off_at_five_distances() -> None:
    (grown,) = outset((MetreLine([(0, 0), (100, 0), (100, 2)]),), distance_m=1)

    assert len(grown) == 4
    first, second = sorted(grown.points.tolist())[:2]
    assert math.hypot(first[0] + second[0], first[1] + second[1]) / 2 == pytest.approx(5.0)


def test_a_corner_that_hardly_stands_back_is_kept() -> None:
    bay = MetreLine([(0, 0), (40, 0.015), (80, 0), (80, 50), (0, 50)])

    (grown,) = outset((bay,), distance_m=3)

    corners = [(-3, -3.001125), (40, -2.985), (83, -3.001125), (83, 53), (-3, 53)]
    assert grown.points == pytest.approx(np.array(corners), abs=1e-6)


def test_a_step_of_a_receiver_that_stood_still_grows_no_thorn() -> None:
    jagged = MetreLine([(0, 0), (50, 0), (50.03, -0.05), (50.06, 0), (100, 0), (100, 100), (0, 100)])

    (grown,) = outset((jagged,), distance_m=12)

    assert grown.points[:, 1].min() == pytest.approx(-12.05)


def test_a_restless_outline_gets_no_thorns() -> None:
    """Counted at random places, without the geometry library's offsets."""
    chance = np.random.default_rng(3)
    turns = np.sort(chance.uniform(0, 2 * np.pi, 200))
    ring = (200 + chance.normal(0, 0.1, 200))[:, np.newaxis] * np.column_stack((np.cos(turns), np.sin(turns)))

    (grown,) = outset((MetreLine(ring),), distance_m=12)

    old, new = shapely.Polygon(ring), shapely.Polygon(grown.points)
    places = chance.uniform(-230, 230, (20_000, 2))
    away = shapely.distance(old, shapely.points(places))
    assert shapely.contains_xy(new, places)[away < 11.999].all()
    assert not shapely.contains_xy(new, places)[away > 1.1 * 12].any()


@given(stars(), st.floats(0.5, 12))
def test_every_point_of_the_grown_edge_lies_at_the_distance_or_at_a_corner(ring: MetreLine, distance_m: float) -> None:
    old = shapely.Polygon(ring.points)
    try:
        (grown,) = outset((ring,), distance_m=distance_m)
    except ValueError:  # it closes round ground outside
        return

    new = shapely.Polygon(grown.points)
    assert new.is_valid
    assert new.buffer(1e-6).contains(old)
    away = shapely.distance(old, shapely.points(shapely.get_coordinates(shapely.segmentize(new.exterior, 1.0))))
    assert away.min() == pytest.approx(distance_m, abs=2e-4)
    assert away.max() <= 5.1 * distance_m


@given(stars(), st.floats(0.5, 12))
def test_the_area_of_a_convex_one_grows_as_steiner_says(ring: MetreLine, distance_m: float) -> None:
    """J. Steiner (1840), from memory: A + P d, and for sharp corners d2 times the tangents of half the turns."""
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(ring.points)))[:-1][::-1]
    along = np.roll(hull, -1, axis=0) - hull
    turns = np.diff(np.arctan2(along[:, 1], along[:, 0]), append=np.arctan2(along[0, 1], along[0, 0])) % (2 * math.pi)
    if turns.max() > math.radians(150) or np.hypot(*along.T).min() < distance_m:  # cut off
        return
    expected = area((MetreLine(hull),)) + np.hypot(*along.T).sum() * distance_m
    expected += distance_m**2 * np.tan(turns / 2).sum()

    grown = outset((MetreLine(hull),), distance_m=distance_m)

    assert area(grown) == pytest.approx(expected, rel=1e-5)
    (back,) = inset(grown, distance_m=distance_m)
    assert area(back) == pytest.approx(area((MetreLine(hull),)), rel=1e-4)


def test_points_written_twice_and_spikes_do_no_harm() -> None:
    spiky = MetreLine([(0, 0), (10, 0), (10, 0), (10, 10), (15, 10), (10, 10), (0, 10)])

    (grown,) = outset((spiky,), distance_m=1)

    assert shapely.Polygon(grown.points).buffer(1e-6).contains(shapely.box(-1, -1, 11, 11))


DUMB_BELL = MetreLine(
    [*((1, 1), (1, 4), (4, 4), (4, 2.6), (6, 2.6), (6, 4)), *((9, 4), (9, 1), (6, 1), (6, 2.4), (4, 2.4), (4, 1))]
)
NARROW_BAY = MetreLine(
    [*((0, 0), (10, 0), (10, 10), (5.2, 10), (5.2, 9), (8, 9)), *((8, 4), (2, 4), (2, 9), (4.8, 9), (4.8, 10), (0, 10))]
)


@pytest.mark.parametrize(
    ("part", "distance_m", "said"),
    [
        ((SQUARE,), 0.0, "is not positive"),
        ((SQUARE,), math.nan, "is not positive"),
        ((SQUARE, MetreLine([(4, 4), (4, 5), (5, 5), (5, 4)])), 0.5, "hole 1 closes"),
        ((SQUARE, DUMB_BELL), 0.2, "hole 1 falls into pieces"),
        ((NARROW_BAY,), 0.5, "closes round ground"),
    ],
)
def test_what_cannot_be_grown_is_refused_in_words(part: MetrePart, distance_m: float, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        outset(part, distance_m=distance_m)


def test_a_line_meets_rings_first_and_last() -> None:
    edges = edges_of(ELL.points)

    assert reach_m(edges, start=np.array((2.0, 20.0)), toward=np.array((2.0, 19.0))) == pytest.approx((10, 20))
    assert reach_m(edges, start=np.array((0.0, 7.0)), toward=np.array((1.0, 7.0))) == pytest.approx((0, 5))
    assert reach_m(edges, start=np.array((-5.0, 0.0)), toward=np.array((-5.0, 1.0))) is None


def test_a_place_in_a_bay_lies_outside() -> None:
    edges = edges_of(ELL.points)

    assert [depth_m(np.array(place), edges) for place in ((2.0, 2.0), (8.0, 8.0))] == pytest.approx([2.0, -3.0])
