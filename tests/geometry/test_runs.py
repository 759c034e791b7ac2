"""Runs of points held against each other."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from taskkit.geometry.line import LonLatLine
from taskkit.geometry.runs import compare_runs

PATH = [(9.5, 54.0), (9.501, 54.0002), (9.502, 54.0), (9.503, 54.0005)]


def run(*points):
    return LonLatLine(points)


def test_a_run_equals_itself():
    found = compare_runs(run(*PATH), run(*PATH))
    assert (found.turned, found.matched, found.removed, found.added) == (False, 4, 0, 0)
    assert (found.largest_move, found.hausdorff_mm) == (None, 0.0)


def test_a_moved_point_is_told_with_the_length_and_direction_of_the_geodesic():
    found = compare_runs(run(*PATH), run(*PATH[:2], (9.50201, 54.00002), PATH[3]))

    # geographiclib 2 (C. F. F. Karney), an implementation of its own.
    expected = Geodesic.WGS84.Inverse(54.0, 9.502, 54.00002, 9.50201)
    assert found.largest_move.vertex == 2
    assert found.largest_move.distance_mm == pytest.approx(expected["s12"] * 1000, abs=1e-3)
    assert found.largest_move.azimuth_deg == pytest.approx(expected["azi1"], abs=1e-6)
    # A moved corner takes its edges with it: the run moves no farther than the corner.
    assert 0 < found.hausdorff_mm <= found.largest_move.distance_mm + 0.001


def test_points_in_between_come_and_go():
    more = compare_runs(run(PATH[0], PATH[1], PATH[3]), run(*PATH))
    fewer = compare_runs(run(*PATH), run(PATH[0], PATH[1], PATH[3]))
    assert (more.matched, more.removed, more.added) == (3, 0, 1)
    assert (fewer.matched, fewer.removed, fewer.added) == (3, 1, 0)
    assert more.largest_move is fewer.largest_move is None
    assert more.hausdorff_mm == pytest.approx(fewer.hausdorff_mm, abs=0.002)


def test_a_run_the_other_way_is_turned_and_equal_otherwise():
    found = compare_runs(run(*PATH), run(*PATH[::-1]))
    assert (found.turned, found.largest_move, found.added, found.removed) == (True, None, 0, 0)


def test_what_moved_in_a_turned_run_is_told_as_if_it_were_not_turned():
    moved = [*PATH[:2], (9.50201, 54.00002), PATH[3]]
    straight, turned = compare_runs(run(*PATH), run(*moved)), compare_runs(run(*PATH), run(*moved[::-1]))
    assert turned.turned
    assert turned.largest_move == straight.largest_move


def test_a_run_of_one_point_can_be_compared():
    found = compare_runs(run(PATH[0]), run(PATH[1]))
    assert found.hausdorff_mm == pytest.approx(found.largest_move.distance_mm, abs=0.01)


def test_a_run_across_180_degrees_is_like_any_other():
    found = compare_runs(run((179.999, 0), (-179.999, 0)), run((179.999, 0), (180, 0), (-179.999, 0)))
    assert (found.added, found.largest_move) == (1, None)
    assert found.hausdorff_mm == pytest.approx(0, abs=0.01)


@given(st.lists(st.tuples(st.integers(-900, 900), st.integers(-900, 900)), min_size=2, max_size=8, unique=True))
@settings(max_examples=60, deadline=None)
def test_there_and_back_the_same_is_found(points):
    lonlat = np.array(points) * 1e-5 + (9.5, 54.0)
    moved = lonlat + np.array([(1e-7, 0)])
    there, back = (
        compare_runs(LonLatLine(lonlat), LonLatLine(moved)),
        compare_runs(LonLatLine(moved), LonLatLine(lonlat)),
    )
    assert there.matched == back.matched == len(points)
    assert there.largest_move.distance_mm == pytest.approx(back.largest_move.distance_mm, abs=0.1)
    # 1e-7 degrees of longitude at latitude 54 are 6.5 mm.
    assert there.largest_move.distance_mm == pytest.approx(6.5, abs=0.2)
