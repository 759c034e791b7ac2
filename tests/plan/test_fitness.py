"""Fields that cannot go out, and a plan without them."""

from uuid import UUID

import numpy as np
import pytest
from plans import numbered, small_plan

from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.choices import lines_of
from taskkit.plan.fitness import unfit, without
from taskkit.plan.leaves import leaves
from taskkit.plan.model import (
    Boundary,
    BoundaryChoice,
    Field,
    Headland,
    Job,
    Plan,
    Position,
    Purpose,
    StraightLine,
)
from taskkit.plan.quantities import Length

SQUARE = [(9.5, 54.0), (9.502, 54.0), (9.502, 54.001), (9.5, 54.001)]
BOW_TIE = [SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]]


def inner(west=0.2, south=0.2, size=0.2):
    """A hole, in shares of the square's sides."""
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * size + (west, south)
    return LonLatLine(corners * (0.002, 0.001) + (9.5, 54.0))


def plan_of(*parts, field=None, **more):
    if field is None:
        outline = Boundary(uuid=numbered(3), parts=parts, season="2026")
        field = Field(uuid=numbered(2), name="Long Acre", boundaries=(outline,))
    return Plan(uuid=numbered(1), name="x", fields=(field,), **more)


def reasons(plan, **options):
    return [one.reason for one in unfit(plan, **options)]


def test_sound_outlines_are_fit():
    whole = Part(LonLatLine(SQUARE), [inner(), inner(0.6)])
    neighbour = Part(LonLatLine([(lon + 0.002, lat) for lon, lat in SQUARE]))
    assert unfit(plan_of(whole, neighbour)) == ()
    assert unfit(small_plan().model_copy(update={"shared_lines": (), "jobs": ()})) == ()


def test_a_ring_that_crosses_itself_is_told_with_vertex_and_place():
    (found,) = unfit(plan_of(Part(LonLatLine(BOW_TIE))))

    assert (found.field, found.name) == (numbered(2), "Long Acre")
    # The diagonals of the square meet in its middle.
    assert (found.lon_deg, found.lat_deg) == pytest.approx((9.501, 54.0005), abs=2e-8)
    assert str(found) == (
        "field Long Acre: the outer ring crosses itself at vertex 1, latitude 54.0005000, longitude 9.5010000 "
        "(worked boundary 2026)"
    )


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ([Part(LonLatLine(SQUARE[:2]))], "the outer ring has fewer than three points at latitude 54.0000000"),
        ([Part(LonLatLine(SQUARE), [inner(1.5)])], "the hole 1 lies outside the outer ring at vertex 1, latitude"),
        ([Part(LonLatLine(SQUARE), [inner(0.9)])], "the hole 1 crosses the outer ring at vertex"),
        ([Part(LonLatLine(SQUARE), [inner(), inner(0.3)])], "the hole 2 lies over hole 1 at latitude"),
        ([Part(LonLatLine(SQUARE)), Part(LonLatLine(BOW_TIE))], "the outer ring of part 2 crosses itself at"),
        ([Part(LonLatLine(SQUARE)), Part(inner())], "parts 1 and 2 of the worked boundary 2026 lie over each other at"),
        ([Part(LonLatLine([(0, 0), (120, 0), (-120, 0)]))], "the worked boundary 2026 reaches round a quarter of"),
    ],
    ids=["two points", "hole outside", "hole crosses", "holes overlap", "second part", "parts overlap", "globe"],
)
def test_what_makes_an_outline_unfit(parts, said):
    found = unfit(plan_of(*parts))
    assert any(one.reason.startswith(said) for one in found), reasons(plan_of(*parts))
    assert all(one.lon_deg is not None for one in found)


def test_what_a_check_tells_of_later_makes_no_field_unfit():
    spike = [*SQUARE[:2], (9.51, 54.0), *SQUARE[1:]]
    assert reasons(plan_of(Part(LonLatLine(spike)))) == []


def test_of_many_places_only_some_are_told():
    zigzag = [(9.5 + (n % 2) * 0.001, 54.0 + n * 1e-5) for n in range(40)]
    crossed = [*zigzag, *((lon, lat + 5e-6) for lon, lat in zigzag[::-1])]
    found = reasons(plan_of(Part(LonLatLine(crossed))))
    assert len(found) == 4
    assert found[-1].endswith("more such places in the worked boundary 2026")


def test_a_field_without_a_boundary_is_unfit_where_something_needs_one():
    bare = Field(uuid=numbered(2), name="Long Acre")
    job = Job(uuid=numbered(8), name="Roll", field=numbered(2))
    assert reasons(plan_of(field=bare)) == []
    needs = ["it has no boundary, and a job or a guidance line needs one"]
    assert reasons(plan_of(field=bare, jobs=(job,))) == needs
    lines = small_plan().fields[0].lines
    assert reasons(plan_of(field=bare.model_copy(update={"lines": lines}))) == needs


def test_the_outline_that_was_asked_for_is_judged():
    sound = Boundary(uuid=numbered(3), parts=(Part(LonLatLine(SQUARE)),))
    crossed = Boundary(uuid=numbered(4), purpose=Purpose.OFFICIAL, season="2026", parts=(Part(LonLatLine(BOW_TIE)),))
    plan = plan_of(field=Field(uuid=numbered(2), name="Long Acre", boundaries=(sound, crossed)))

    assert reasons(plan) == []
    assert len(reasons(plan, boundary=BoundaryChoice(purpose=Purpose.OFFICIAL))) == 1
    assert reasons(plan, boundary=BoundaryChoice(purpose=Purpose.OFFICIAL, season="2025")) == [
        "it has no official boundary 2025"
    ]
    assert reasons(plan, boundary=BoundaryChoice(purpose=Purpose.PHYSICAL)) == ["it has no physical boundary"]


def test_jobs_go_with_their_field_and_shared_lines_stay_for_the_others():
    plan = small_plan()
    left = without(plan, [numbered(9)])

    assert [field.uuid for field in left.fields] == [numbered(4)]
    assert [job.name for job in left.jobs] == ["Sow Long Acre"]
    assert [line.fields for line in left.shared_lines] == [(numbered(4),)] * 5
    assert {line.uuid for line in left.shared_lines} == {line.uuid for line in plan.shared_lines}


def test_copies_of_a_line_whose_field_goes_keep_their_identity():
    plan = small_plan()
    copies = lines_of(plan, plan.fields[1])
    job = Job(
        uuid=numbered(77),
        name="Spray",
        field=numbered(9),
        lines=[{"line": plan.shared_lines[0].uuid, "shift": plan.shared_lines[0].shifts[0].uuid}],
    )
    left = without(plan.model_copy(update={"jobs": (*plan.jobs, job)}), [numbered(4)])

    assert left.shared_lines == ()
    assert left.fields[0].lines == copies
    assert [one.name for one in left.jobs] == ["Roll it", "Spray"]
    (use,) = left.jobs[1].lines
    assert (use.line, use.shift) == (copies[0].uuid, copies[0].shifts[0].uuid)
    assert not {leaf.value for leaf in leaves(left) if isinstance(leaf.value, UUID)} & {numbered(4), numbered(60)}


def test_without_nothing_is_the_plan_itself():
    assert without(small_plan(), []) == small_plan()


def test_a_line_without_direction_and_a_headland_below_nothing_are_told():
    here = Position(lon_deg=9.501, lat_deg=54.0005)
    line = StraightLine(uuid=numbered(4), name="Along the lane", a=here, b=here, spacing=Length("3 m"))
    field = Field(
        uuid=numbered(2),
        name="Long Acre",
        boundaries=(Boundary(uuid=numbered(3), parts=(Part(LonLatLine(SQUARE)),)),),
        lines=(line,),
        headland=Headland(depth=Length("-12 m")),
    )

    assert reasons(plan_of(field=field)) == [
        "A and B of the line Along the lane are the same place, so it has no direction",
        "its headland has a depth below nothing, -12 m",
    ]
