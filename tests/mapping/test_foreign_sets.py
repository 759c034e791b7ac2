"""A plan from any set: other makers', older versions', broken ones."""

import numpy as np
import pytest
from mapped import numbered, parsed, rich_plan, ring, said, square, task_file, through_bytes, written

from taskkit.errors import InputError
from taskkit.findings import Severity
from taskkit.mapping import read_plan
from taskkit.plan.files import dump_plan
from taskkit.plan.identity import Identified, Identity
from taskkit.plan.quantities import Length

PLAIN = '<PFD A="PFD1" C="Long Acre" D="1">{}</PFD>'


def links(*pairs, namespace="", kind="1"):
    inner = "".join(f'<LNK A="{target}" B="{value}"/>' for target, value in pairs)
    return (
        '<ISO11783LinkList VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="other" '
        f'ManagementSoftwareVersion="1" DataTransferOrigin="1"><LGP A="LGP1" B="{kind}" D="{namespace}">{inner}</LGP>'
        "</ISO11783LinkList>"
    )


def field_of(inner, **options):
    back = read_plan(parsed(task_file(PLAIN.format(inner))), **options)
    assert dump_plan(back.plan)  # what was read is a whole plan
    return back.plan.fields[0], back


def polygon(*rings, kind=1, more=""):
    return f'<PLN A="{kind}"{more}>{"".join(rings)}</PLN>'


def ab_line(points, *, pattern='C="1"', width=' C="3000"', name=' B="Lane"'):
    return f'<GGP A="GGP1" B="Group"><GPN A="GPN1"{name} {pattern}><LSG A="5"{width}>{points}</LSG></GPN></GGP>'


AB = '<PNT A="6" C="54" D="9"/><PNT A="7" C="54.1" D="9.1"/>'


# Boundaries


def test_one_polygon_with_several_outer_rings_is_several_parts_and_holes_find_their_ring():
    inner = polygon(
        square(1, 9.0, 54.0, 0.01),
        square(1, 9.1, 54.0, 0.01),
        square(2, 9.002, 54.002, 0.001),  # lies in the first, stands after the second
        square(2, 9.104, 54.004, 0.001),
        square(2, 9.5, 54.5, 0.001),  # lies in neither
    )
    field, back = field_of(inner)
    first, second = field.boundaries[0].parts
    assert [hole.points[0].tolist() for hole in first.holes] == [[9.002, 54.002]]
    assert [hole.points[0].tolist() for hole in second.holes] == [[9.104, 54.004], [9.5, 54.5]]
    assert not list(back.findings)


def test_a_hole_in_an_island_belongs_to_the_island_and_not_to_the_ring_round_both():
    inner = polygon(
        square(1, 9.0, 54.0, 0.1),
        square(2, 9.01, 54.01, 0.08),
        square(1, 9.02, 54.02, 0.05),  # an island in the hole
        square(2, 9.03, 54.03, 0.01),  # lies in the island, and so in the first ring too
    )
    field, _ = field_of(inner)
    first, island = field.boundaries[0].parts
    assert [hole.points[0].tolist() for hole in first.holes] == [[9.01, 54.01]]
    assert [hole.points[0].tolist() for hole in island.holes] == [[9.03, 54.03]]


def test_a_polygon_of_very_many_rings_is_read_without_weighing_every_pair(monkeypatch):
    monkeypatch.setattr("taskkit.mapping.polygons._MANY_PAIRS", 1)
    inner = polygon(square(1, 9.0, 54.0, 0.01), square(1, 9.1, 54.0, 0.01), square(2, 9.002, 54.002, 0.001))
    field, _ = field_of(inner)
    assert [len(part.holes) for part in field.boundaries[0].parts] == [0, 1]  # of the ring before it


def test_every_polygon_of_the_boundary_type_is_a_part_of_one_boundary():
    field, _ = field_of(polygon(square(1, 9.0, 54.0, 0.01)) + polygon(square(1, 9.1, 54.0, 0.01)))
    assert [len(b.parts) for b in field.boundaries] == [2]


def test_a_ring_is_the_same_closed_and_unclosed():
    corners = [(9.0, 54.0), (9.1, 54.0), (9.1, 54.1)]
    unclosed, _ = field_of(polygon(ring(1, *corners)))
    closed, _ = field_of(polygon(ring(1, *corners, corners[0])))
    assert unclosed == closed
    assert unclosed.boundaries[0].parts[0].outer.points.tolist() == [list(c) for c in corners]


def test_points_that_cannot_be_read_are_left_out_and_counted():
    broken = '<PNT A="2" C="54,1" D="9"/><PNT A="2" C="54" D="181"/><PNT A="2" D="9"/>'
    line = ring(1, (9.0, 54.0), (9.1, 54.0), (9.1, 54.1)).replace("</LSG>", broken + "</LSG>")
    field, back = field_of(polygon(line))
    assert len(field.boundaries[0].parts[0].outer) == 3
    assert said(back, "left-out-of-plan") == [
        "Part of a ring is left out of the plan: 3 of its 6 points have no place that can be read."
    ]


def test_points_that_hold_something_count_in_their_order():
    line = (
        '<LSG A="1"><PNT A="2" C="54.0" D="9.0"/><PNT A="2" C="54.0" D="9.1" P123_y="1"><P123_x/></PNT>'
        '<PNT A="2" C="54.1" D="9.1" E="12000"/></LSG>'
    )
    field, back = field_of(polygon(line))
    assert field.boundaries[0].parts[0].outer.points.tolist() == [[9.0, 54.0], [9.1, 54.0], [9.1, 54.1]]
    assert said(back, "not-in-plan-model") == [
        f"Not taken into the plan, which has no word for it: {what}, 1 in all."
        for what in (
            "PNT@P123_y (no attribute of the standard)",
            "P123_x (no element of the standard)",
            "PNT@E (PointUp)",
        )
    ]


def test_a_boundary_without_any_ring_that_can_be_read_is_none():
    field, back = field_of(polygon(square(2, 9.0, 54.0, 0.01)) + polygon('<LSG A="1"><PNT A="2" C="x" D="9"/></LSG>'))
    assert field.boundaries == ()
    assert sorted(m.split(" is left")[0] for m in said(back, "left-out-of-plan")) == [
        "A hole", "A ring", "Part of a ring",
    ]  # fmt: skip


# Guidance


def test_a_line_is_read_with_its_spacing_and_its_name():
    field, back = field_of(ab_line(AB))
    (line,) = field.lines
    assert (line.name, line.spacing, line.a.lon_deg, line.b.lat_deg) == ("Lane", Length("3 m"), 9.0, 54.1)
    assert not list(back.findings)


def test_a_and_b_are_told_by_their_types_wherever_they_stand():
    backwards = '<PNT A="7" C="54.1" D="9.1"/><PNT A="9" C="54.05" D="9.05"/><PNT A="6" C="54" D="9"/>'
    field, back = field_of(ab_line(backwards))
    assert (field.lines[0].a.lat_deg, field.lines[0].b.lat_deg) == (54.0, 54.1)
    assert "besides A and B" in said(back, "not-in-plan-model")[0]


def test_what_a_point_says_besides_its_place_is_told():
    field, back = field_of("<!-- drawn by hand -->" + ab_line(AB.replace('A="6"', 'A="6" E="12000"')))
    assert len(field.lines) == 1
    assert said(back, "not-in-plan-model") == [
        "Not taken into the plan, which has no word for it: PNT@E (PointUp), 1 in all."
    ]


def test_two_points_of_other_types_are_a_and_b_in_their_order():
    field, _ = field_of(ab_line(AB.replace('A="6"', 'A="2"').replace('A="7"', 'A="2"')))
    assert (field.lines[0].a.lat_deg, field.lines[0].b.lat_deg) == (54.0, 54.1)


@pytest.mark.parametrize(("first", "last", "ends"), [("2", "6", (54.1, 54.0)), ("7", "2", (54.1, 54.0))])
def test_a_point_that_is_marked_as_one_end_is_never_taken_for_the_other_too(first, last, ends):
    field, _ = field_of(ab_line(f'<PNT A="{first}" C="54" D="9"/><PNT A="{last}" C="54.1" D="9.1"/>'))
    assert (field.lines[0].a.lat_deg, field.lines[0].b.lat_deg) == ends


def test_one_end_of_a_sector_without_the_other_is_told():
    points = '<PNT A="8" C="54" D="9"/><PNT A="6" C="54.001" D="9"/>'
    field, back = field_of(ab_line(points, pattern='C="4" D="1" H="100000"'))
    assert field.lines[0].sector is None
    assert "one end of a sector without the other" in said(back, "not-in-plan-model")[0]


def test_the_greatest_count_of_passes_that_the_standard_allows_is_read():
    field, _ = field_of(ab_line(AB, pattern='C="1" N="4294967294" O="0"'))
    assert (field.lines[0].passes_left, field.lines[0].passes_right) == (4294967294, 0)


def test_a_number_with_thousands_of_leading_zeros_is_read():
    field, _ = field_of(ab_line(AB, width=' C="' + "0" * 5000 + '3000"'))
    assert field.lines[0].spacing == Length("3 m")


def test_blanks_round_an_identifier_do_not_hide_the_object():
    # XML Schema 1.0 part 2, section 4.3.6: blanks round an identifier are no part of it.
    set_ = task_file('<CTR A=" CTR1 " B="Hansen"/><PFD A="PFD1" C="Long Acre" D="1" E="CTR1"/>')
    plan = read_plan(parsed(set_)).plan
    assert plan.fields[0].customer == plan.customers[0].uuid


@pytest.mark.parametrize("width", ["", ' C=""', ' C="-3000"', ' C="3.5"', ' C="' + "9" * 5000 + '"'])
def test_a_line_without_a_spacing_that_can_be_read_has_none(width):
    field, back = field_of(ab_line(AB, width=width))
    assert field.lines[0].spacing == Length("0 m")
    assert len(said(back, "guidance-spacing-missing")) == 1


@pytest.mark.parametrize("points", ['<PNT A="6" C="54" D="9"/>', '<PNT A="6" C="54" D="9"/><PNT A="7" C="95" D="9"/>'])
def test_a_line_without_two_points_is_left_out(points):
    field, back = field_of(ab_line(points))
    assert field.lines == ()
    assert said(back, "left-out-of-plan") == [
        "GPN1 is left out of the plan: a line needs two points that can be read, A and B."
    ]


def test_a_pattern_without_a_line_string_is_left_out():
    field, back = field_of('<GGP A="GGP1"><GPN A="GPN1" C="1"/></GGP>')
    assert field.lines == ()
    assert said(back, "left-out-of-plan") == ["GPN1 is left out of the plan: it has no line string."]


def test_a_line_goes_by_the_name_of_its_group_or_by_its_identifier():
    assert field_of(ab_line(AB, name=""))[0].lines[0].name == "Group"
    assert field_of(ab_line(AB, name="").replace(' B="Group"', ""))[0].lines[0].name == "GPN1"


def test_a_guidance_line_string_right_under_the_field_is_a_line_or_a_curve():
    strings = f'<LSG A="5" B="Old line" C="2500">{AB}</LSG><LSG A="5" B="Bend">{AB}<PNT A="9" C="54.2" D="9.1"/></LSG>'
    field, back = field_of(strings)
    assert [(line.kind, line.name, line.spacing.metres) for line in field.lines] == [
        ("straight", "Old line", 2.5),
        ("curve", "Bend", 0.0),
    ]
    assert not said(back, "not-in-plan-model")


# What the plan has no word for


def test_everything_the_plan_has_no_word_for_is_named_once_with_its_count():
    inner = (
        '<TSK A="TSK1" B="x" G="1"/><TSK A="TSK2" B="y" G="1"/><DVC A="DVC1"/><P123_thing/><Strange/>'
        '<CTR A="CTR1" B="Estate" P123_y="1" Q="2"><P123_z/></CTR>'
        '<PFD A="PFD1" C="Long Acre" D="1" G="CTP1">'
        '<PNT A="1" C="54" D="9"/><PNT A="1" C="54" D="9"/><PNT A="4" C="54" D="9"/>'
        + polygon(square(1, 9, 54, 0.01), square(9, 9, 54, 0.01), more=' B="Edge"')
        + polygon(square(1, 9, 54, 0.01), kind=10)
        + polygon(square(1, 9, 54, 0.01), kind="77")
        + '<LSG A="3"><PNT A="2" C="54" D="9"/></LSG>'
        + '<GGP A="GGP1"><BSN A="BSN1"/>'
        + f'<GPN A="GPN1" C="1" E="9" F="1" I="4" N="-1" G="7"><LSG A="5" C="3000" B="x">{AB}</LSG><LSG A="5"/></GPN>'
        + f'<GPN A="GPN3" C="6"><LSG A="5">{AB}</LSG></GPN></GGP>'
        + "</PFD>"
    )
    back = read_plan(parsed(task_file(inner), TLG00001_BIN=b"", LINKLIST_XML=b"", GRD00001_BIN=b""))

    found = dict(m.removeprefix("Not taken into the plan, which has no word for it: ").removesuffix(" in all.")
                 .rsplit(", ", 1) for m in said(back, "not-in-plan-model"))  # fmt: skip
    assert found == {
        "TSK (task without a field)": "2",
        "DVC (Device)": "1",
        "P123_thing (no element of the standard)": "1",
        "Strange (no element of the standard)": "1",
        "files *.BIN beside the task file": "2",
        "CTR@P123_y (no attribute of the standard)": "1",
        "P123_z (no element of the standard)": "1",
        "CTR@Q (no attribute of the standard)": "1",
        "PNT (flag)": "2",
        "PLN@B (PolygonDesignator)": "1",
        "LSG (obstacle)": "1",
        "PLN (headland)": "1",
        "PLN (Polygon)": "1",
        "LSG (tramline)": "1",
        "BSN (BaseStation)": "1",
        "GPN@E (GuidancePatternPropagationDirection)": "1",
        "GPN@G (GuidancePatternHeading)": "1",
        "GPN@I (GuidancePatternGNSSMethod)": "1",
        "GPN@N (NumberOfSwathsLeft)": "1",
        "LSG@B (LineStringDesignator)": "1",
        "LSG (guidance pattern)": "1",
        "GPN (guidance pattern of type 6)": "1",
    }
    assert len(back.plan.fields[0].lines) == 1
    first = next(f for f in back.findings if "TSK" in f.message)
    assert (first.severity, first.where.file, first.where.line, first.where.id) == (
        Severity.NOTE, "TASKDATA.XML", 2, "TSK1",
    )  # fmt: skip


def test_external_files_are_told():
    back = read_plan(parsed(task_file('<XFR A="PFD00001" B="1"/>')))
    assert said(back, "external-file-unread") == [
        "What stands in the external file PFD00001 is not taken into the plan."
    ]


# References and identity


def test_a_reference_to_nothing_is_left_out_and_the_rest_stays():
    inner = '<FRM A="FRM1" B="Home" I="CTR9"/><PFD A="PFD1" C="x" D="1" E="CTR1" F="FRM1"/>'
    back = read_plan(parsed(task_file(inner)))
    assert back.plan.farms[0].customer is None
    assert back.plan.fields[0].farm == back.plan.farms[0].uuid
    assert said(back, "left-out-of-plan") == [
        "The reference FRM@I is left out of the plan: the set holds no CTR9.",
        "The reference PFD@E is left out of the plan: the set holds no CTR1.",
    ]


def test_objects_without_names_go_by_their_identifiers_and_duplicate_names_stay():
    inner = '<CTR A="CTR1"/><CTR A="CTR2" B=""/><FRM A="FRM1" B="x"/><FRM A="FRM2" B="x"/><PFD/>'
    plan = read_plan(parsed(task_file(inner))).plan
    assert [c.name for c in plan.customers] == ["CTR1", ""]
    assert [f.name for f in plan.farms] == ["x", "x"]
    assert [f.name for f in plan.fields] == ["PFD"]


def test_uuids_come_from_every_group_of_uuids_in_any_spelling():
    uuid = str(numbered(7))
    text = links(("PFD1", f"{{{uuid.upper()}}}"), namespace=f"urn:uuid:{numbered(1)}")
    plan = read_plan(parsed(task_file(PLAIN.format("")), text)).plan
    assert (plan.uuid, plan.fields[0].uuid) == (numbered(1), numbered(7))


def test_other_groups_of_links_are_no_uuids():
    text = links(("PFD1", str(numbered(7))), namespace=f"urn:uuid:{numbered(1)}", kind="3")
    plan = read_plan(parsed(task_file(PLAIN.format("")), text)).plan
    assert plan.fields[0].uuid != numbered(7)
    assert plan.uuid != numbered(1)


def test_links_that_cannot_be_used_are_told_and_objects_keep_uuids_of_their_own():
    text = links(
        ("PFD1", str(numbered(7))), ("PFD1", str(numbered(8))), ("CTR1", "no"), ("CTR2", str(numbered(7)))
    )  # fmt: skip
    inner = PLAIN.format("") + '<CTR A="CTR1" B="a"/><CTR A="CTR2" B="b"/>'
    back = read_plan(parsed(task_file(inner), text))
    assert back.plan.fields[0].uuid == numbered(7)
    assert len({c.uuid for c in back.plan.customers} | {numbered(7)}) == 3
    assert said(back, "link-unusable") == [
        "The link of CTR1 to no is passed over: it is no UUID.",
        f"The link of CTR2 to {numbered(7)} is passed over: another object has this UUID.",
    ]
    assert next(f for f in back.findings if f.rule == "link-unusable").where.file == "LINKLIST.XML"


def test_without_links_uuids_depend_on_names_and_identifiers_and_not_on_geometry():
    def uuids(text):
        plan = read_plan(parsed(text)).plan
        return plan.uuid, plan.fields[0].uuid, plan.fields[0].boundaries[0].uuid

    one = task_file(PLAIN.format(polygon(square(1, 9.0, 54.0, 0.01))))
    assert uuids(one) == uuids(one.replace('D="9.0"', 'D="9.00001"'))
    assert not set(uuids(one)) & set(uuids(one.replace("Long Acre", "Long Bcre")))
    assert len(set(uuids(one))) == 3


def test_without_links_the_numbers_of_the_plan_tell_objects_apart():
    identity = Identity().assign([Identified("farm", numbered(3), "x"), Identified("field", numbered(4), "x")])
    plan = read_plan(parsed(task_file(PLAIN.format(""))), identity=identity).plan
    assert plan.fields[0].uuid == numbered(4)


def test_two_objects_with_one_identifier_get_two_uuids_and_the_first_is_meant():
    inner = '<CTR A="CTR1" B="a"/><CTR A="CTR1" B="b"/><PFD A="PFD1" C="x" D="1" E="CTR1"/>'
    plan = read_plan(parsed(task_file(inner), links(("CTR1", str(numbered(7)))))).plan
    first, second = plan.customers
    assert first.uuid == numbered(7) != second.uuid
    assert plan.fields[0].customer == first.uuid
    assert dump_plan(plan)


def test_parts_in_another_order_are_still_the_same_boundary():
    data = through_bytes(written(rich_plan()).data)
    field = next(data.main.elements("PFD"))
    field.children[0], field.children[1] = field.children[1], field.children[0]
    boundary = read_plan(data).plan.fields[0].boundaries[0]
    assert boundary.uuid == numbered(5)
    assert np.isclose(boundary.parts[0].outer.points[0, 0], 9.51)


def test_an_empty_set_is_an_empty_plan():
    back = read_plan(parsed("<ISO11783_TaskData/>"), name="Nothing")
    assert (back.plan.name, back.plan.fields, list(back.findings)) == ("Nothing", (), [])


def test_a_companion_that_cannot_be_read_stops_only_what_it_holds():
    data = parsed(task_file(PLAIN.format("")))

    class Locked(dict):
        def __getitem__(self, name):
            raise InputError("cannot be read: no permission", path=name)

    data.companions = Locked({"headland.xml": b""})
    back = read_plan(data)
    assert len(back.plan.fields) == 1
    assert "no permission" in said(back, "headland-file-unusable")[0]
