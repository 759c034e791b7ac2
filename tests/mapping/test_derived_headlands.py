"""What follows from the headland of a field: written beside the plan's own, recognised, and never read back as plan."""

from __future__ import annotations

import os
import re
from itertools import pairwise
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from mapped import leaf_values, line, numbered, parsed, rich_plan, said, through_bytes, with_given_depths

from taskkit import api
from taskkit.errors import InputError, RefusedError
from taskkit.findings import Severity
from taskkit.geometry.geodesy import area_m2, distance_m
from taskkit.geometry.line import MetreLine, Part
from taskkit.geometry.plane import LocalPlane
from taskkit.mapping import read_plan, write_plan
from taskkit.plan.files import save_plan
from taskkit.plan.identity import Entry, Identity, derived
from taskkit.plan.model import (
    Boundary,
    Corner,
    Field,
    Headland,
    IslandHeadland,
    Job,
    JobLine,
    Passes,
    Plan,
    Side,
    SideHeadland,
)
from taskkit.plan.quantities import Length
from taskkit.reports import as_text
from taskkit.taskdata import schema
from taskkit.taskdata.dictionary import LINK_ROOT, TASK_ROOT
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import files, serialise, write_folder

PLANE = LocalPlane(9.5, 54.0)
RECTANGLE = [(-200, -100), (200, -100), (200, 100), (-200, 100)]
ISLAND = [(-10, -10), (-10, 10), (10, 10), (10, -10)]
# Two squares of 100 m with a neck of 20 m between them.
DUMBBELL = [
    (-150, -50), (-50, -50), (-50, -10), (50, -10), (50, -50), (150, -50),
    (150, 50), (50, 50), (50, 10), (-50, 10), (-50, 50), (-150, 50),
]  # fmt: skip
ROWS = line(7, "Rows", spacing="6 m")
FIELD = numbered(4)
EXAMPLES = 200 if os.environ.get("TASKKIT_LONG") else 12
MAIN_FIELD, HEADLAND = "9", "10"


def land(headland: Headland | None, *rings, lines=(ROWS,), **more) -> Field:
    outer, *holes = [PLANE.to_degrees(MetreLine(ring)) for ring in rings or (RECTANGLE,)]
    outline = Boundary(uuid=numbered(5), parts=(Part(outer, holes),))
    return Field(uuid=FIELD, name="Long Acre", boundaries=(outline,), lines=lines, headland=headland, **more)


def farm(*fields: Field, **more) -> Plan:
    return Plan(uuid=numbered(1), name="Larkmoor", fields=fields, **more)


def deep(depth: str, *rings, **more) -> Plan:
    return farm(land(Headland(depth=depth), *rings, **more))


def export(plan: Plan, identity: Identity | None = None, **how):
    return write_plan(plan, identity or Identity(), **how)


def polygons(made, kind):
    (field,) = made.data.main.elements("PFD")
    return [polygon for polygon in field.elements("PLN") if polygon.get("A") == kind]


def passes(made):
    """The patterns of the group of headland passes; none where there is no such group."""
    (field,) = made.data.main.elements("PFD")
    groups = [group for group in field.elements("GGP") if group.get("B") == "Headland passes"]
    return [pattern for group in groups for pattern in group.elements("GPN")]


def places(element):
    (string,) = element.elements("LSG")
    return string.lonlat()


def metres(lonlat):
    return PLANE.metres(lonlat)


def told(made):
    return [(found.rule, found.severity, found.message) for found in made.findings]


def read_again(made, **how):
    return read_plan(through_bytes(made.data), **how)


def test_main_field_and_headland_are_polygons_of_their_types_with_their_areas():
    made = export(deep("12 m"))

    ((main,), (rest,)) = polygons(made, MAIN_FIELD), polygons(made, HEADLAND)
    assert (main.get("B"), rest.get("B")) == ("Main field", "Headland")
    # 400 m by 200 m less 12 m on each side: 376 m by 176 m, plane geometry; the plane is true to 1e-7 there.
    assert (main.get("C"), rest.get("C")) == (str(376 * 176), str(400 * 200 - 376 * 176))
    assert [ring.get("A") for ring in main.elements("LSG")] == ["1"]
    assert [ring.get("A") for ring in rest.elements("LSG")] == ["1", "2"]
    corners = [sorted(metres(ring.lonlat())[:-1].round(3).tolist()) for ring in rest.elements("LSG")]
    assert [ring[0] for ring in corners] == [[-200, -100], [-188, -88]]


def test_an_island_is_a_hole_of_the_main_field():
    made = export(deep("12 m", RECTANGLE, ISLAND))

    assert [ring.get("A") for ring in polygons(made, MAIN_FIELD)[0].elements("LSG")] == ["1", "2"]
    assert [polygon.get("B") for polygon in polygons(made, HEADLAND)] == ["Headland 1", "Headland 2"]


def test_headland_passes_are_a_group_of_curves_that_end_where_they_begin_and_are_not_repeated_or_lengthened():
    first, second = passes(export(deep("12 m")))

    # Curve, no propagation, no extension: values of GPN C, E and F (ISO 11783-10, from memory).
    assert [(p.get("C"), p.get("E"), p.get("F"), p.get("B")) for p in (first, second)] == [
        ("3", "4", "4", "Headland pass 1"),
        ("3", "4", "4", "Headland pass 2"),
    ]
    assert [next(p.elements("LSG")).get("C") for p in (first, second)] == ["6000", "6000"]
    for pattern, away_m in ((first, 3), (second, 9)):
        points = places(pattern)
        assert (points[0] == points[-1]).all()
        assert sorted(metres(points).round(3).tolist())[0] == [-200 + away_m, -100 + away_m]
        (string,) = pattern.elements("LSG")
        kinds = [kind for run in string.points() for kind in run.types()]
        assert kinds == ["6", "9", "9", "9", "7"]


def test_headland_passes_may_be_a_line_for_each_side():
    road = Side(uuid=numbered(40), name="Road", start=corner(-200, -100), end=corner(200, -100))
    headland = Headland(depth="12 m", sides=(SideHeadland(side=road.uuid, depth="6 m"),))
    plan = farm(land(headland, sides=(road,)))

    lines = passes(export(plan, one_line_per_side=True))

    assert [p.get("B") for p in lines] == ["Headland pass 1, line 1", "Headland pass 1, line 2", "Headland pass 2"]
    assert all((places(p)[0] != places(p)[-1]).any() for p in lines)
    ends = metres(places(lines[0])).round(2).tolist(), metres(places(lines[1])).round(2).tolist()
    assert ends[0][-1] in (ends[1][0], ends[1][-1])


def corner(east_m, north_m):
    ((lon_deg, lat_deg),) = PLANE.to_degrees(MetreLine([(east_m, north_m)]))
    return Corner(lon_deg=lon_deg, lat_deg=lat_deg)


def test_derived_objects_are_added_and_nothing_else_changes():
    plan = with_given_depths(rich_plan())
    without, made = export(plan, derived_objects=False), export(plan)

    count = len(without.identity.entries)
    assert made.identity.entries[:count] == without.identity.entries
    added = made.identity.entries[count:]
    assert {entry.kind for entry in added} == {"main field", "headland", "headland passes", "headland pass"}
    content, bare = (dict(files(one.data)) for one in (made, without))
    gone = {f"{tag}{entry.number}" for entry in added for tag in ("PLN", "GGP", "GPN") if is_of(entry, tag)}
    for name in ("TASKDATA.XML", "LINKLIST.XML"):
        content[name] = without_elements(content[name], gone)
        bare[name] = without_elements(bare[name], set())
    assert content == bare
    assert made.ledger == without.ledger
    assert (without.findings, made.ledger.missed_by_driver()[0][:9]) == ((), "headland:")


def is_of(entry: Entry, tag: str) -> bool:
    return {"headland passes": "GGP", "headland pass": "GPN"}.get(entry.kind, "PLN") == tag


def without_elements(text: bytes, identifiers: set[str]) -> bytes:
    """A file without some elements and their links, nor the length of the link list, nor space between elements."""
    root = etree.fromstring(text, etree.XMLParser(remove_blank_text=True))
    for element in list(root.iter()):
        own = element.get("E") if element.tag == "PLN" else element.get("A")
        if own in identifiers:
            element.getparent().remove(element)
        if element.tag == "AFE" and element.get("A") == "LINKLIST.XML":
            del element.attrib["F"]
    return etree.tostring(root)


def test_derived_objects_are_linked_by_uuids_that_follow_from_the_field():
    made = export(deep("12 m"))

    assert made.data.links
    links = {link.get("A"): UUID(link.get("B")) for group in made.data.links.elements() for link in group.elements()}
    (main,), (rest,) = polygons(made, MAIN_FIELD), polygons(made, HEADLAND)
    assert links[main.get("E")] == derived(FIELD, "main field")
    assert links[rest.get("E")] == derived(FIELD, "headland")
    assert [links[p.get("A")] for p in passes(made)] == [derived(FIELD, "headland pass", n) for n in range(2)]
    assert len(set(links.values())) == len(links)


def test_identifiers_of_one_element_differ_whatever_it_stands_for():
    root = etree.fromstring(serialise(export(with_given_depths(rich_plan())).data.main))

    given = [(e.get("E") if e.tag == "PLN" else e.get("A")) for e in root.iter("PLN", "GGP", "GPN")]
    named = [identifier for identifier in given if identifier and identifier[:3].isalpha()]
    assert len(named) > 30
    assert len(set(named)) == len(named)


def test_derived_objects_are_passed_over_when_a_set_is_read():
    plan = with_given_depths(rich_plan())

    back, bare = (read_again(export(plan, derived_objects=wanted)) for wanted in (True, False))

    assert back == bare
    assert list(back.findings) == []


def test_without_a_link_list_the_numbers_of_the_plan_tell_what_is_derived():
    made = export(deep("12 m"))
    data = through_bytes(made.data)
    data.links = None

    back = read_plan(data, identity=made.identity)

    assert [one.name for one in back.plan.fields[0].lines] == ["Rows"]
    assert said(back, "not-in-plan-model") == []


def test_without_link_list_and_numbers_polygons_of_ours_go_by_their_type():
    made = export(deep("12 m"))
    data = through_bytes(made.data)
    data.links = None

    back = read_plan(data)

    assert said(back, "not-in-plan-model") == []
    assert len(back.plan.fields[0].boundaries) == 1


def test_the_main_field_of_somebody_elses_set_is_told_as_beyond_the_plan():
    made = export(deep("12 m"))
    text = serialise(made.data.main).replace(b'Manufacturer="taskkit"', b'Manufacturer="other"')

    back = read_plan(parsed(text))

    told_of = said(back, "not-in-plan-model")
    assert [("main field" in one, "headland" in one) for one in told_of if "PLN" in one] in (
        [(True, False), (False, True)],
        [(False, True), (True, False)],
    )


def test_what_others_added_among_the_headland_passes_is_read_and_what_they_took_out_is_not_missed():
    made = export(deep("24 m"))
    text = serialise(made.data.main).decode()
    first, *_, last = re.findall(r'<GPN A="GPN[0-9]+" B="Headland pass.*?</GPN>', text, re.DOTALL)
    theirs = re.sub('A="GPN[0-9]+" B="[^"]*"', 'A="GPN-1" B="Driven by Ada"', last)
    data = through_bytes(made.data)
    data.main = parsed(text.replace(first, theirs)).main

    back = read_plan(data)

    names = [one.name for one in back.plan.fields[0].lines]
    assert names == ["Rows", "Driven by Ada"]
    assert said(back, "not-in-plan-model") == []


def test_a_task_that_uses_the_headland_passes_is_read():
    job = Job(uuid=numbered(90), name="Sow", field=FIELD, lines=(JobLine(line=ROWS.uuid),))
    made = export(farm(land(Headland(depth="12 m")), jobs=(job,)))
    group = made.identity.number("headland passes", derived(FIELD, "headland passes"))
    text = re.sub(r'(<GAN A="GGP[0-9]+"/>)', rf'\1<GAN A="GGP{group}"/>', serialise(made.data.main).decode())
    assert text.count("<GAN") == 2
    data = through_bytes(made.data)
    data.main = parsed(text).main

    back = read_plan(data)

    assert [one.line for one in back.plan.jobs[0].lines] == [ROWS.uuid]
    assert [found.rule for found in back.findings] == []


def test_numbers_last_when_the_depth_changes_and_comes_back():
    first = export(deep("12 m"))
    second = export(deep("6 m"), first.identity)
    third = export(deep("24 m"), second.identity)

    assert second.identity == first.identity
    assert third.identity.entries[: len(first.identity.entries)] == first.identity.entries
    numbers = [p.get("A") for p in passes(third)]
    assert numbers[:2] == [p.get("A") for p in passes(first)]
    assert numbers == ["GPN2", "GPN3", "GPN4", "GPN5"]


def test_one_number_for_two_polygons_is_told_as_in_a_merged_file():
    own = Entry("boundary part", 1, numbered(5), "Long Acre, part 1")
    other = Entry("main field", 1, derived(FIELD, "main field"), "Long Acre, Main field")

    with pytest.raises(InputError, match="the number 1 stands for two objects, boundary part"):
        export(deep("12 m"), Identity((own, other)))


def test_without_a_line_there_are_polygons_and_no_passes():
    made = export(deep("12 m", lines=()))

    assert len(polygons(made, MAIN_FIELD)) == len(polygons(made, HEADLAND)) == 1
    assert (passes(made), made.findings) == ([], ())


@pytest.mark.parametrize("spacing", ["0 m", "-3 m"])
def test_a_spacing_that_is_none_counts_as_no_line(spacing):
    made = export(deep("12 m", lines=(line(7, "Rows", spacing=spacing),)))

    assert (len(polygons(made, MAIN_FIELD)), passes(made)) == (1, [])


def test_the_spacing_is_that_of_the_first_line():
    lines = (line(8, "Wide", spacing="12 m"), ROWS)

    (one,) = passes(export(deep("12 m", lines=lines)))

    assert next(one.elements("LSG")).get("C") == "12000"


def test_what_cannot_be_laid_out_is_told_and_the_rest_is_written():
    made = export(deep("2 passes", lines=()))

    ((rule, severity, message),) = told(made)
    assert (rule, severity) == ("headland-not-laid-out", Severity.WARNING)
    assert message.endswith("of the field Long Acre: the depth of the headland is 2 passes, and no spacing is given.")
    assert made.findings[0].hint == "Give the depth as a length, such as 12 m."
    assert (made.findings[0].where.file, made.findings[0].where.id) == ("TASKDATA.XML", "PFD1")
    assert polygons(made, MAIN_FIELD) + polygons(made, HEADLAND) == []
    assert len(polygons(made, "1")) == 1


def test_an_outline_that_is_not_sound_is_no_crash():
    bow_tie = [(-200, -100), (200, 100), (200, -100), (-200, 100)]

    made = export(deep("6 m", bow_tie))

    assert [rule for rule, _, _ in told(made)] == ["headland-not-laid-out"]


def test_no_main_field_is_told_with_the_pass_after_which_nothing_is_left():
    made = export(deep("120 m"))

    # 200 m across: 16 passes of 6 m from either side leave 8 m, the 17th nothing.
    rules = {rule: (severity, message) for rule, severity, message in told(made)}
    assert rules["main-field-missing"] == (
        Severity.WARNING,
        "No main field is left of the field Long Acre after pass 17.",
    )
    assert polygons(made, MAIN_FIELD) == []
    assert [polygon.get("C") for polygon in polygons(made, HEADLAND)] == ["80000"]


def test_no_main_field_is_told_without_a_pass_where_there_is_no_spacing():
    made = export(deep("120 m", lines=()))

    assert [message for _, _, message in told(made)] == ["No main field is left of the field Long Acre."]


def test_ground_that_falls_in_pieces_is_a_note_with_its_place():
    made = export(deep("18 m", DUMBBELL))

    # The neck is 20 m wide: 9 m from either side there is ground between, 15 m from either side there is none.
    ((rule, severity, message),) = told(made)
    assert (rule, severity) == ("ground-split-by-headland", Severity.NOTE)
    assert message.startswith("At headland pass 3 of the field Long Acre the ground falls into 2 pieces, near ")
    east_m, north_m = metres(np.array([[made.findings[0].facts["lon_deg"], made.findings[0].facts["lat_deg"]]]))[0]
    assert abs(east_m) < 150
    assert abs(north_m) < 50
    assert len(polygons(made, MAIN_FIELD)) == 2


def test_a_piece_that_is_used_up_is_a_note():
    small = Part(PLANE.to_degrees(MetreLine([(300, 0), (320, 0), (320, 20), (300, 20)])))
    one = land(Headland(depth="18 m"))
    outline = one.boundaries[0].model_copy(update={"parts": (*one.boundaries[0].parts, small)})

    made = export(farm(one.model_copy(update={"boundaries": (outline,)})))

    ((rule, severity, message),) = told(made)
    assert (rule, severity) == ("ground-used-up-by-headland", Severity.NOTE)
    assert message.startswith("A piece of the field Long Acre has no room for headland pass 3, near ")
    lon_deg, lat_deg = (made.findings[0].facts[name] for name in ("lon_deg", "lat_deg"))
    assert metres(np.array([[lon_deg, lat_deg]]))[0] == pytest.approx([310, 10], abs=10)


@pytest.mark.parametrize("headland", [None, Headland(depth="none"), Headland(depth="0 passes")])
def test_a_field_without_depth_has_no_derived_objects(headland):
    made = export(farm(land(headland)))

    assert [entry.kind for entry in made.identity.entries if "headland" in entry.kind or "main" in entry.kind] == []
    assert made.findings == ()


def test_a_field_without_an_outline_has_no_derived_objects():
    made = export(farm(Field(uuid=FIELD, name="Long Acre", headland=Headland(depth="12 m"))))

    assert len(made.identity.entries) == 1


@pytest.mark.parametrize(
    "headland",
    [
        Headland(depth="auto"),
        Headland(depth="6 m", sides=(SideHeadland(side=numbered(40), depth="auto"),)),
        Headland(depth="6 m", islands=(IslandHeadland(hole=1, depth="auto"),)),
    ],
)
def test_a_depth_that_is_left_open_is_refused_in_words(headland):
    side = Side(uuid=numbered(40), name="Road", start=corner(-200, -100), end=corner(200, -100))
    plan = farm(land(headland, RECTANGLE, ISLAND, sides=(side,)))

    with pytest.raises(RefusedError, match=r"left open \(auto\) and is not worked out yet: field Long Acre\. Give"):
        export(plan)
    assert export(plan, derived_objects=False).findings == ()


def test_a_depth_that_a_job_leaves_open_is_refused_and_many_are_counted():
    jobs = tuple(
        Job(uuid=numbered(90 + n), name=f"Sow {n}", field=FIELD, headland=Headland(depth="auto")) for n in range(5)
    )

    with pytest.raises(RefusedError, match=r"job Sow 0, job Sow 1, job Sow 2 \(and 2 more\)\. Give a depth"):
        export(farm(land(Headland(depth="6 m")), jobs=jobs))


depths = st.one_of(
    st.floats(0.1, 130).map(lambda metres_: Length(f"{metres_:.2f} m")), st.integers(1, 20).map(lambda n: Passes(n))
)


@given(
    depths, st.sampled_from([(RECTANGLE,), (RECTANGLE, ISLAND), (DUMBBELL,)]), st.floats(1, 40), depths, st.booleans()
)
@settings(max_examples=EXAMPLES)
def test_whatever_the_depths_the_ground_is_shared_out_and_the_set_is_sound(depth, rings, spacing_m, other, by_side):
    lines = (line(7, "Rows", spacing=f"{spacing_m:.3f} m"),)
    side = Side(uuid=numbered(40), name="Road", start=corner(*rings[0][0]), end=corner(*rings[0][1]))
    headland = Headland(depth=depth, sides=(SideHeadland(side=side.uuid, depth=other),))
    plan = farm(land(headland, *rings, lines=lines, sides=(side,)))

    made = export(plan, one_line_per_side=by_side)

    assert schema.verdict(serialise(made.data.main), TASK_ROOT, Version.V4_3) == ()
    assert schema.verdict(serialise(made.data.links), LINK_ROOT, Version.V4_3) == ()
    whole_m2 = area_m2(plan.fields[0].boundaries[0].parts)
    pieces = polygons(made, MAIN_FIELD) + polygons(made, HEADLAND)
    # Every piece is rounded to a whole square metre.
    assert sum(int(piece.get("C")) for piece in pieces) == pytest.approx(whole_m2, abs=1 + len(pieces) / 2)
    for pattern in passes(made):
        points = places(pattern)
        assert len(points) >= 2
        assert all(distance_m(tuple(a), end=tuple(b)) > 1e-4 for a, b in pairwise(points))
    back = read_again(made)
    assert list(back.findings) == []
    assert leaf_values(back.plan) == leaf_values(read_again(export(plan, derived_objects=False)).plan)


def test_what_is_derived_passes_the_check_and_findings_of_the_export_are_in_its_report(tmp_path):
    side = Side(uuid=numbered(40), name="Road", start=corner(-200, -100), end=corner(200, -100))
    headland = Headland(depth="12 m", sides=(SideHeadland(side=side.uuid, depth="none"),))
    sound = land(headland, RECTANGLE, ISLAND, sides=(side,), lines=())
    save_plan(farm(sound), tmp_path / "sound")
    save_plan(deep("120 m", RECTANGLE, lines=()), tmp_path / "narrow")

    done = {name: api.export(tmp_path / name, tmp_path / "out" / name) for name in ("sound", "narrow")}

    assert [found.message for found in done["sound"].report] == []
    assert [found.rule for found in done["narrow"].report] == ["main-field-missing"]
    assert done["narrow"].comparison.equal
    assert "[main-field-missing]" in as_text.export(done["narrow"])
    assert "[main-field-missing]" not in as_text.export(done["sound"])


def test_the_same_plan_gives_the_same_bytes(tmp_path):
    plan = deep("24 m", RECTANGLE, ISLAND)
    for name in ("one", "two"):
        write_folder(export(plan).data, tmp_path / name)

    assert (tmp_path / "one" / "TASKDATA.XML").read_bytes() == (tmp_path / "two" / "TASKDATA.XML").read_bytes()
