"""Guidance lines of every form, out and back, and from sets of others."""

import math

import pytest
from geographiclib.geodesic import Geodesic
from mapped import FORMS, A, B, box, full_line, line, numbered, parsed, said, task_file, through_bytes, written

from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.plane import FLATTENING, SEMI_MAJOR_AXIS_M
from taskkit.mapping import Carried, read_plan
from taskkit.plan.files import dump_plan
from taskkit.plan.model import (
    Anchor,
    CurvedLine,
    Extension,
    Field,
    HeadingLine,
    Job,
    JobLine,
    PivotLine,
    Plan,
    Propagation,
    Rotation,
    Sector,
    SharedStraightLine,
)
from taskkit.plan.quantities import Length

# The reference library, by the author of the algorithm; an implementation that shares no code with PROJ's.
REFERENCE = Geodesic(SEMI_MAJOR_AXIS_M, FLATTENING)
HALF_STEP_DEG = 0.5e-9 + 3e-14


def on_a_field(*lines, **more):
    return Plan(uuid=numbered(1), name="p", fields=(Field(uuid=numbered(4), name="Long Acre", lines=lines),), **more)


def patterns(made):
    field = next(made.data.main.elements("PFD"))
    return [pattern for group in field.elements("GGP") for pattern in group.elements("GPN")]


def points(pattern):
    (string,) = pattern.elements("LSG")
    return [(point.get("A"), float(point.get("D")), float(point.get("C"))) for point in string.point_elements()]


def back(made):
    return read_plan(through_bytes(made.data))


def foreign(*inner, name="Lines"):
    field = f'<PFD A="PFD1" C="Long Acre" D="1"><GGP A="GGP1" B="{name}">{"".join(inner)}</GGP></PFD>'
    found = read_plan(parsed(task_file(field)))
    assert dump_plan(found.plan)
    return found


def gpn(form, marks, *, number=1, more="", width=' C="3000"'):
    texts = "".join(f'<PNT A="{kind}" C="{lat}" D="{lon}"/>' for kind, lon, lat in marks)
    return f'<GPN A="GPN{number}" B="Lane" C="{form}"{more}><LSG A="5"{width}>{texts}</LSG></GPN>'


# The forms, as elements


@pytest.mark.parametrize(
    ("form", "code", "kinds"),
    [
        ("Straight", "1", "67"),
        ("Heading", "2", "6"),
        ("Curved", "3", "697"),
        ("Pivot", "4", "867"),
        ("Spiral", "5", "697"),
    ],
)
def test_each_form_has_its_type_and_its_kinds_of_points_in_order(form, code, kinds):
    made = written(on_a_field(full_line(60, form)))

    (pattern,) = patterns(made)

    assert pattern.get("C") == code
    assert "".join(kind for kind, _, _ in points(pattern)) == kinds
    assert back(made).plan.fields[0].lines[0].kind == full_line(60, form).kind


def test_a_heading_has_more_than_seven_decimals():
    (pattern,) = patterns(written(on_a_field(full_line(60, "Heading"))))
    assert pattern.get("G") == "35.123456700"


@pytest.mark.parametrize("heading_deg", [0.0, 359.9999999999, 360.0])
def test_a_heading_next_to_north_comes_back_on_the_circle(heading_deg):
    made = written(on_a_field(HeadingLine(uuid=numbered(60), name="n", a=A, heading_deg=heading_deg, spacing="3 m")))
    (found,) = back(made).plan.fields[0].lines
    assert abs((found.heading_deg - heading_deg + 180) % 360 - 180) <= HALF_STEP_DEG


def test_the_ends_of_a_sector_lie_on_the_circle_at_their_headings():
    made = written(on_a_field(full_line(60, "Pivot")))

    (pattern,) = patterns(made)
    (_, lon, lat), *ends = points(pattern)

    assert (pattern.get("D"), pattern.get("H")) == ("2", "200000")
    for (_, there_lon, there_lat), heading_deg in zip(ends, (10.0, 90.5), strict=True):
        expected = REFERENCE.Direct(lat, lon, heading_deg, 200.0)
        assert math.isclose(there_lat, expected["lat2"], abs_tol=1e-9)
        assert math.isclose(there_lon, expected["lon2"], abs_tol=1e-9)


@pytest.mark.parametrize(("direction", "code"), [(Rotation.CLOCKWISE, "1"), (Rotation.ANTICLOCKWISE, "2")])
def test_a_sector_says_which_way_round(direction, code):
    sector = Sector(start_heading_deg=0, end_heading_deg=90)
    pivot = PivotLine(
        uuid=numbered(60), name="r", centre=A, radius="9 m", spacing="3 m", direction=direction, sector=sector
    )
    made = written(on_a_field(pivot))
    assert patterns(made)[0].get("D") == code
    assert back(made).plan.fields[0].lines[0].direction is direction


def test_a_full_circle_is_its_centre_and_its_radius():
    made = written(on_a_field(PivotLine(uuid=numbered(60), name="r", centre=A, radius="200.0004 m", spacing="3 m")))
    (pattern,) = patterns(made)
    assert (pattern.get("D"), pattern.get("H"), [kind for kind, _, _ in points(pattern)]) == ("3", "200000", ["8"])
    assert back(made).plan.fields[0].lines[0].sector is None
    assert ("radii", "mm") in {(one.quantity, one.unit) for one in made.ledger.roundings}


def test_a_full_circle_the_other_way_round_has_left_and_right_changed_about():
    pivot = PivotLine(
        uuid=numbered(60), name="r", centre=A, radius="200 m", spacing="3 m", direction=Rotation.ANTICLOCKWISE,
        propagation=Propagation.LEFT, passes_left=4,
    )  # fmt: skip
    made = written(on_a_field(pivot))

    (found,) = back(made).plan.fields[0].lines

    # Left of a circle anticlockwise is inside, as right is clockwise.
    assert (found.direction, found.propagation, found.passes_right) == ("clockwise", "right", 4)
    assert {e.leaf.path.rpartition(".")[2] for e in made.ledger.losses()} == {"direction", "propagation", "passes_left"}


def test_a_sector_too_small_for_its_points_is_approximated():
    sector = Sector(start_heading_deg=10.0, end_heading_deg=80.0)
    pivot = PivotLine(uuid=numbered(60), name="r", centre=A, radius="1 mm", spacing="3 m", sector=sector)
    assert {e.leaf.path for e in written(on_a_field(pivot)).ledger.losses()} <= {
        "fields.lines.sector.start_heading_deg", "fields.lines.sector.end_heading_deg",
    }  # fmt: skip
    assert written(on_a_field(pivot)).ledger.losses()


# What follows from a line


@pytest.mark.parametrize(("word", "code"), list(zip(Propagation, "1234", strict=True)))
def test_propagation_has_its_value(word, code):
    made = written(on_a_field(line(7, "Lane", propagation=word)))
    assert patterns(made)[0].get("E") == code
    assert back(made).plan.fields[0].lines[0].propagation is word


@pytest.mark.parametrize(("word", "code"), list(zip(Extension, "1234", strict=True)))
def test_extension_has_its_value(word, code):
    made = written(on_a_field(line(7, "Lane", extension=word)))
    assert patterns(made)[0].get("F") == code
    assert back(made).plan.fields[0].lines[0].extension is word


def test_counts_of_passes_are_written_and_too_great_ones_are_not():
    made = written(on_a_field(line(7, "Lane", passes_left=0, passes_right=2**32)))
    assert (patterns(made)[0].get("N"), patterns(made)[0].get("O")) == ("0", None)
    assert [(e.leaf.path, e.carried) for e in made.ledger.losses()] == [
        ("fields.lines.passes_right", Carried.NOT_CARRIED)
    ]


def test_a_pattern_without_words_of_its_own_goes_both_ways():
    (found,) = foreign(gpn("1", [("6", 9, 54), ("7", 9.1, 54.1)])).plan.fields[0].lines
    assert (found.propagation, found.extension, found.passes_left, found.limit) == ("both", "both", None, None)


def test_an_area_in_which_a_pattern_holds_is_a_polygon_under_it():
    limit = (Part(box(9.5, 54.0), [box(9.5005, 54.0005, size_deg=0.0004)]), Part(box(9.51, 54.0)))
    made = written(on_a_field(line(7, "Lane", limit=limit)))
    assert [polygon.get("A") for polygon in patterns(made)[0].elements("PLN")] == ["8", "8"]
    (found,) = back(made).plan.fields[0].lines
    assert [len(part.rings) for part in found.limit] == [2, 1]


def test_the_area_of_a_group_is_that_of_its_patterns_without_one():
    others = '<PNT A="2" C="54" D="10"/><PNT A="2" C="55" D="10"/>'
    area = f'<PLN A="1"><LSG A="1"><PNT A="2" C="54" D="{{}}"/>{others}</LSG></PLN>'
    own = gpn("1", [("6", 9, 54), ("7", 9.1, 54.1)], number=2).replace("</GPN>", area.format("8") + "</GPN>")
    found = foreign(area.format("9"), gpn("1", [("6", 9, 54), ("7", 9.1, 54.1)]), own)
    assert [one.limit[0].outer.points[0, 0] for one in found.plan.fields[0].lines] == [9, 8]
    empty = foreign('<PLN A="1"/>', gpn("1", [("6", 9, 54), ("7", 9.1, 54.1)]))
    assert empty.plan.fields[0].lines[0].limit is None
    assert len(said(empty, "left-out-of-plan")) == 1


# Edges


def moved_metres(before, after):
    line = REFERENCE.Inverse(before[1], before[0], after[1], after[0])
    return line["s12"], line["azi1"] % 360


def ends(line):
    return [(p.lon_deg, p.lat_deg) for p in (line.a, line.b)]


@pytest.mark.parametrize(
    ("more", "aside_deg"),
    [
        ({}, 90),
        ({"propagation": Propagation.LEFT}, -90),
        ({"propagation": Propagation.RIGHT}, 90),
        ({"passes_right": 0}, -90),
    ],
)
def test_a_line_that_is_an_edge_goes_out_as_the_middle_of_the_pass_beside_it(more, aside_deg):
    edge = line(7, "Lane", spacing="6 m", anchor=Anchor.EDGE, **more)
    made = written(on_a_field(edge))

    (found,) = back(made).plan.fields[0].lines

    along = REFERENCE.Inverse(A.lat_deg, A.lon_deg, B.lat_deg, B.lon_deg)
    for before, after, heading in zip(ends(edge), ends(found), (along["azi1"], along["azi2"]), strict=True):
        metres, azimuth = moved_metres(before, after)
        assert metres == pytest.approx(3.0, abs=2e-4)
        assert abs((azimuth - heading - aside_deg + 180) % 360 - 180) < 0.01
    assert found.anchor is Anchor.CENTRE
    losses = {e.leaf.path.removeprefix("fields.lines."): e.note for e in made.ledger.losses()}
    assert losses.keys() == {"anchor", "a.lon_deg", "a.lat_deg", "b.lon_deg", "b.lat_deg"}
    assert set(losses.values()) == {"moved 3 m to the middle of a pass"}


@pytest.mark.parametrize(
    ("given", "carried"),
    [((4, 5), (4, 4)), ((4, 0), (3, 0)), ((None, 1), (None, 0)), ((0, 0), (0, 0))],
)
def test_the_pass_in_which_the_line_lies_is_none_of_those_beside_it(given, carried):
    edge = line(7, "Lane", anchor=Anchor.EDGE, passes_left=given[0], passes_right=given[1])
    (found,) = back(written(on_a_field(edge))).plan.fields[0].lines
    assert (found.passes_left, found.passes_right) == carried


@pytest.mark.parametrize(("direction", "radius_m"), [(Rotation.CLOCKWISE, 198.5), (Rotation.ANTICLOCKWISE, 201.5)])
def test_the_pass_to_the_right_of_an_edge_is_inside_a_circle_clockwise(direction, radius_m):
    sector = Sector(start_heading_deg=0, end_heading_deg=90)
    pivot = PivotLine(
        uuid=numbered(60), name="r", centre=A, radius="200 m", spacing="3 m", direction=direction, sector=sector,
        anchor=Anchor.EDGE,
    )  # fmt: skip
    assert back(written(on_a_field(pivot))).plan.fields[0].lines[0].radius == Length.of(radius_m)


@pytest.mark.parametrize("form", FORMS)
def test_an_edge_of_any_form_comes_back_as_a_centre_that_goes_out_unchanged(form):
    once = back(written(on_a_field(full_line(60, form).model_copy(update={"anchor": Anchor.EDGE})))).plan
    again = written(once)
    assert once.fields[0].lines[0].anchor is Anchor.CENTRE
    assert not [e for e in again.ledger.losses() if e.carried is Carried.APPROXIMATED]


# Lines that cannot be carried


@pytest.mark.parametrize("more", [{"radius": "-1 m"}, {"radius": "5000 km"}, {"radius": "1 m", "anchor": Anchor.EDGE}])
def test_a_circle_without_a_radius_that_can_be_written_is_not_carried_and_no_job_uses_it(more):
    pivot = PivotLine(uuid=numbered(60), name="Round", centre=A, spacing="6 m", **more)
    job = Job(
        uuid=numbered(90), name="j", field=numbered(4), lines=(JobLine(line=numbered(60)), JobLine(line=numbered(7)))
    )
    made = written(on_a_field(pivot, line(7, "Lane"), jobs=(job,)))

    found = back(made)

    assert [one.name for one in found.plan.fields[0].lines] == ["Lane"]
    assert [one.line for one in found.plan.jobs[0].lines] == [numbered(7)]
    assert made.ledger.explains("fields.lines", numbered(60))
    notes = {e.leaf.path: e.note for e in made.ledger.losses()}
    assert "beyond what the standard can hold" in notes["fields.lines.radius"]
    assert notes["jobs.lines.line"] == "the line is not carried"


def test_a_shared_line_of_fields_that_are_not_there_is_not_carried():
    shared = SharedStraightLine(uuid=numbered(60), name="Both", a=A, b=B, spacing="3 m", fields=(numbered(99),))
    made = written(on_a_field(shared_lines=(shared,)))
    assert made.ledger.explains("shared_lines", numbered(60))
    assert {e.carried for e in made.ledger.losses()} == {Carried.NOT_CARRIED}
    assert back(made).plan.shared_lines == ()


# Groups


def test_lines_of_one_group_are_together_and_others_by_themselves():
    plan = on_a_field(
        line(7, "a", group="spring"), line(8, "b"), line(9, "c", group="spring"), line(10, "a", group="a")
    )
    made = written(plan)
    groups = list(next(made.data.main.elements("PFD")).elements("GGP"))
    assert [(g.get("B"), [p.get("B") for p in g.elements("GPN")]) for g in groups] == [
        ("spring", ["a", "c"]), ("b", ["b"]), ("a", ["a"]),
    ]  # fmt: skip
    assert [(one.name, one.group) for one in back(made).plan.fields[0].lines] == [
        ("a", "spring"), ("c", "spring"), ("b", None), ("a", "a"),
    ]  # fmt: skip


def test_groups_whose_names_are_cut_stay_apart():
    long = "All the lines that the spring needs"
    made = written(on_a_field(line(7, "a", group=f"{long} 1"), line(8, "b", group=f"{long} 2")))
    words = [one.group for one in back(made).plan.fields[0].lines]
    assert len(set(words)) == 2
    assert [e.leaf.path for e in made.ledger.losses()] == ["fields.lines.group"] * 2


def test_groups_of_other_makers_are_groups_where_they_hold_several_or_another_name():
    ab = [("6", 9, 54), ("7", 9.1, 54.1)]
    two = foreign(gpn("1", ab), gpn("1", ab, number=2), name="Lane").plan.fields[0].lines
    assert [one.group for one in two] == ["Lane", "Lane"]
    assert foreign(gpn("1", ab), name="Lane").plan.fields[0].lines[0].group is None
    assert foreign(gpn("1", ab), name="Spring").plan.fields[0].lines[0].group == "Spring"


# Sets of other makers


def test_a_pivot_is_read_from_its_centre_and_two_points():
    ab = [("8", 9.0, 54.0), ("6", 9.0, 54.001), ("7", 9.001, 54.0)]
    (found,) = foreign(gpn("4", ab, more=' D="1"')).plan.fields[0].lines
    expected = REFERENCE.Inverse(54.0, 9.0, 54.001, 9.0)["s12"]
    assert found.radius.metres == pytest.approx(expected, abs=5e-4)
    assert found.sector.start_heading_deg == pytest.approx(0.0, abs=1e-9)
    assert found.sector.end_heading_deg == pytest.approx(90.0, abs=1e-3)


@pytest.mark.parametrize(
    ("form", "marks", "more", "why"),
    [
        ("4", [("8", 9, 54)], "", "a pivot needs a centre that can be read, and a radius or A"),
        ("4", [("6", 9, 54)], ' H="1000"', "a pivot needs a centre that can be read, and a radius or A"),
        ("2", [("6", 9, 54)], "", "a line of A and a heading needs a heading that can be read"),
        ("2", [("6", 9, 54)], ' G="361"', "a line of A and a heading needs a heading that can be read"),
        ("2", [("6", 9, 99)], ' G="1"', "a line of A and a heading needs a point that can be read"),
        ("3", [("6", 9, 54)], "", "a curve needs two points that can be read"),
        ("5", [("8", 9, 54), ("6", 9, 54)], "", "a curve needs two points that can be read"),
    ],
)
def test_a_line_that_lacks_something_is_left_out_and_said(form, marks, more, why):
    found = foreign(gpn(form, marks, more=more))
    assert found.plan.fields[0].lines == ()
    assert said(found, "left-out-of-plan")[-1] == f"GPN1 is left out of the plan: {why}."


def test_a_curve_the_other_way_round_is_turned():
    curve = gpn("3", [("7", 9.2, 54), ("9", 9.1, 54), ("6", 9.0, 54)])
    (found,) = foreign(curve).plan.fields[0].lines
    assert isinstance(found, CurvedLine)
    assert found.path.lon_deg.tolist() == [9.0, 9.1, 9.2]


def test_points_that_a_form_has_no_use_for_are_told():
    found = foreign(
        gpn("3", [("8", 9.0, 54), ("6", 9.0, 54), ("9", 9.0, 91), ("7", 9.1, 54)]),
        gpn("4", [("8", 9.0, 54), ("9", 9.0, 54), ("6", 9.0, 54.1)], number=2, more=' H="1000" D="3"'),
    )
    curve, pivot = found.plan.fields[0].lines
    assert (len(curve.path), pivot.sector) == (2, None)
    assert {m.split(" (")[1].split(")")[0] for m in said(found, "not-in-plan-model")} == {
        "centre of a curve",
        "point of a pivot besides its centre, A and B",
        "end of a full circle",
    }
    assert len(said(found, "left-out-of-plan")) == 1


def test_a_long_curve_is_carried_point_for_point():
    path = LonLatLine([(9.5 + n * 1e-5, 54.0 + n % 7 * 1e-6) for n in range(2000)])
    made = written(on_a_field(CurvedLine(uuid=numbered(60), name="Brook", path=path, spacing="3 m")))
    (found,) = back(made).plan.fields[0].lines
    assert abs(found.path.points - path.points).max() <= HALF_STEP_DEG


def test_a_circle_that_no_number_can_hold_once_it_is_moved_is_not_carried():
    pivot = PivotLine(
        uuid=numbered(60), name="r", centre=A, radius="999999999999 m", spacing="999999 m", anchor=Anchor.EDGE,
        direction=Rotation.ANTICLOCKWISE,
    )  # fmt: skip
    made = written(on_a_field(pivot))
    assert made.ledger.explains("fields.lines", numbered(60))
    assert back(made).plan.fields[0].lines == ()
