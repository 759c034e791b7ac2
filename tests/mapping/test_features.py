"""Things on the ground, as elements and back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mapped import box, numbered, parsed, ring, said, square, task_file, through_bytes, written
from plans import places

from taskkit.geometry.line import LonLatLine, Part
from taskkit.mapping import Carried, read_plan
from taskkit.plan.files import dump_plan
from taskkit.plan.model import Feature, FeatureKind, Field, Place, Plan
from taskkit.plan.quantities import Length
from taskkit.taskdata import schema
from taskkit.taskdata.dictionary import TASK_ROOT, dictionary
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import serialise

POINT = Place(LonLatLine([(9.5, 54.0)]))
LINE = Place(LonLatLine([(9.5, 54.0), (9.501, 54.0), (9.501, 54.001)]))
AREA = Place((Part(box(9.5, 54.0)),))


def plan_of(*features):
    return Plan(uuid=numbered(1), name="x", fields=(Field(uuid=numbered(2), name="Long Acre", features=features),))


def feature(number=10, name="Thing", kind=FeatureKind.OBSTACLE, place=POINT, **more):
    return Feature(uuid=numbered(number), name=name, kind=kind, place=place, **more)


def back(plan, **options):
    return read_plan(through_bytes(written(plan).data, **options))


def shown(made):
    """Tag and meaning of the elements of the one field."""
    field = next(made.data.main.elements("PFD"))
    values = {tag: dictionary().elements[tag].attributes["A"].values for tag in ("PLN", "LSG", "PNT")}
    return [
        (child.tag, next(value.meaning for value in values[child.tag] if value.value == child.get("A")))
        for child in field.elements()
    ]


# What ISO 11783-10 has a type for (recalled, as the dictionary says): area, line, point.
OWN = {
    FeatureKind.OBSTACLE: ("obstacle", "obstacle", "obstacle"),
    FeatureKind.WATER: ("water surface", None, None),
    FeatureKind.BUILDING: ("building", None, None),
    FeatureKind.ROAD: ("road", None, None),
    FeatureKind.BUFFER: ("buffer zone", None, None),
    FeatureKind.WINDBREAK: ("windbreak", None, None),
    FeatureKind.FENCE: (None, "fence", None),
    FeatureKind.DRAINAGE: (None, "drainage", None),
    FeatureKind.ACCESS: (None, None, "field access"),
    FeatureKind.STORAGE: (None, None, "storage"),
    FeatureKind.POLE: (None, None, None),
}


@pytest.mark.parametrize("kind", FeatureKind)
@pytest.mark.parametrize(("form", "place"), list(enumerate([AREA, LINE, POINT])))
def test_every_kind_in_every_form_comes_back_and_what_it_became_is_said(kind, form, place):
    plan = plan_of(feature(kind=kind, place=place))
    made = written(plan)

    again = read_plan(through_bytes(made.data))
    assert again.plan.fields[0].features == plan.fields[0].features
    assert not list(again.findings)
    entry = next(e for e in made.ledger.entries if e.leaf.path == "fields.features.kind")
    meaning = OWN[kind][form]
    if meaning:
        assert (entry.carried, shown(made)[0][1]) == (Carried.NATIVE, meaning)
        assert made.data.companions == {}
    elif entry.carried is Carried.ATTACHED:
        # A narrower word: whatever it is, it stands in the way.
        assert shown(made)[0][1] == "obstacle"
    else:
        assert entry.carried is Carried.APPROXIMATED
        assert entry.note.startswith(f"{kind} goes out as ")


def test_only_what_says_something_else_is_approximated():
    approximated = set()
    for kind in FeatureKind:
        for place in (AREA, LINE, POINT):
            if written(plan_of(feature(kind=kind, place=place))).ledger.losses():
                approximated.add((str(kind), place.form))
    assert approximated == {
        ("drainage", "area"),
        ("access", "area"),
        ("road", "line"),
        ("buffer", "line"),
        ("access", "line"),
        ("road", "point"),
        ("buffer", "point"),
    }


def test_without_the_attached_file_a_pole_is_an_obstacle():
    plan = plan_of(feature(kind=FeatureKind.POLE, safety_distance=Length("2 m")))
    (lone,) = back(plan, attached=False).plan.fields[0].features
    assert (lone.kind, lone.safety_distance, lone.uuid) == (FeatureKind.OBSTACLE, None, numbered(10))


def test_a_type_that_a_terminal_changed_counts_and_not_the_word_beside_it():
    data = through_bytes(written(plan_of(feature(kind=FeatureKind.POLE))).data)
    data.main = parsed(serialise(data.main).replace(b'<PNT A="5"', b'<PNT A="4"')).main

    again = read_plan(data)

    assert again.plan.fields[0].features[0].kind is FeatureKind.STORAGE
    assert said(again, "left-out-of-plan") == ["That Thing is pole is left out of the plan: the set says storage now."]


def test_an_area_of_several_parts_is_a_polygon_for_each_and_one_feature():
    parts = tuple(Part(box(9.5 + n / 100, 54.0), [box(9.5005 + n / 100, 54.0005, size_deg=1e-4)]) for n in range(12))
    plan = plan_of(feature(11, "Before"), feature(kind=FeatureKind.WATER, place=Place(parts)), feature(12, "After"))
    made = written(plan)

    assert [tag for tag, _ in shown(made)] == ["PNT", *["PLN"] * 12, "PNT"]
    before, water, _ = read_plan(through_bytes(made.data)).plan.fields[0].features
    assert (before.name, water.uuid, [len(part.rings) for part in water.place.parts]) == (
        "Before",
        numbered(10),
        [2] * 12,
    )

    # A terminal that took out some parts leaves the rest together.
    field = next(made.data.main.elements("PFD"))
    field.children = [child for n, child in enumerate(field.children) if n not in (3, 4, 5, 9)]
    (_, water, _) = read_plan(through_bytes(made.data)).plan.fields[0].features
    assert [len(water.place.parts), water.uuid] == [8, numbered(10)]


def test_a_name_that_is_too_long_is_cut_and_said():
    plan = plan_of(
        feature(10, "The old oak at the corner of the wood"), feature(11, "The old oak at the corner of the")
    )
    made = written(plan)
    names = [child.get("B") for child in next(made.data.main.elements("PFD")).elements()]
    assert names == ["The old oak at the corner of t 2", "The old oak at the corner of the"]
    (loss,) = made.ledger.losses()
    assert (loss.leaf.path, loss.leaf.owner) == ("fields.features.name", numbered(10))


@given(st.lists(st.tuples(st.sampled_from(FeatureKind), places), max_size=4))
@settings(max_examples=40, deadline=None)
def test_any_place_comes_back_within_the_step_of_the_format(things):
    plan = plan_of(*(feature(10 + n, f"Thing {n}", kind, place) for n, (kind, place) in enumerate(things)))
    made = written(plan)
    assert schema.verdict(serialise(made.data.main), TASK_ROOT, Version.V4_3) == ()

    again = read_plan(through_bytes(made.data)).plan.fields[0].features
    assert [(one.uuid, one.kind, one.name) for one in again] == [
        (one.uuid, one.kind, one.name) for one in plan.fields[0].features
    ]
    for one, other in zip(again, plan.fields[0].features, strict=True):
        assert one.place.form == other.place.form
        rings = [[line for part in p.parts for line in part.rings] or [p.line] for p in (one.place, other.place)]
        for ours, theirs in zip(*rings, strict=True):
            # The strategies draw on the grid of nine decimals; a ring that repeats its first point is read open.
            assert np.allclose(ours.points, theirs.points[: len(ours)], rtol=0, atol=1e-12)


# Of other make


def read_field(inner):
    result = read_plan(parsed(task_file(f'<PFD A="PFD1" C="Long Acre" D="1">{inner}</PFD>')))
    assert dump_plan(result.plan)
    return result.plan.fields[0], result


def polygon(kind, *rings, more=""):
    return f'<PLN A="{kind}"{more}>{"".join(rings)}</PLN>'


def test_features_of_other_make_are_read_with_their_kind_and_name():
    inner = (
        polygon(3, square(1, 9, 54, 0.01), square(2, 9.002, 54.002, 0.001), more=' B="Pond" C="5"')
        + polygon(12, square(1, 9, 54, 0.01), square(1, 9.1, 54, 0.01), more=' B="Hedge"')
        + '<LSG A="7" B="Fence" F="LSG1"><PNT A="2" C="54" D="9"/><PNT A="2" C="54.1" D="9"/></LSG>'
        + '<PNT A="3" B="Gate" C="54" D="9"/><PNT A="5" C="54" D="9.1" G="PNT4"/>'
    )
    field, result = read_field(inner)

    assert [(one.name, one.kind, one.place.form, len(one.place.parts)) for one in field.features] == [
        ("Pond", "water", "area", 1),
        ("Hedge", "windbreak", "area", 2),
        ("Fence", "fence", "line", 0),
        ("Gate", "access", "point", 0),
        ("PNT4", "obstacle", "point", 0),
    ]
    assert len(field.features[0].place.parts[0].holes) == 1
    assert said(result, "feature-without-name") == [
        "A thing on the ground (obstacle) has no name; the plan calls it PNT4."
    ]
    assert len(list(result.findings)) == 1
    assert len({one.uuid for one in field.features}) == 5


@pytest.mark.parametrize(
    "inner",
    [
        polygon(3, ring(2, (9, 54), (9.1, 54), (9.1, 54.1))),
        polygon(3),
        '<LSG A="7"><PNT A="2" C="54" D="9"/></LSG>',
        '<LSG A="7"/>',
        '<PNT A="5" C="95" D="9"/>',
        '<PNT A="5" D="9"/>',
        '<PNT A="5" C="x" D="9"/>',
    ],
)
def test_a_feature_without_a_place_is_left_out(inner):
    field, result = read_field(inner)
    assert field.features == ()
    assert any("it has no place that can be read" in message for message in said(result, "left-out-of-plan"))


def test_flags_and_other_things_are_no_features():
    field, result = read_field(
        '<PNT A="1" C="54" D="9"/><PNT C="54" D="9"/>' + polygon(8, square(1, 9, 54, 0.01)) + '<LSG A="8"/><PNT A="5"/>'
    )
    assert field.features == ()
    assert len(said(result, "not-in-plan-model")) == 4


def test_what_a_feature_says_besides_is_told():
    field, result = read_field(
        polygon(3, square(1, 9, 54, 0.01), more=' B="Pond" D="7"')
        + '<LSG A="7" B="Fence" C="100"><PNT A="2" C="54" D="9" E="1"/><PNT A="2" C="54.1" D="9"/></LSG>'
        + '<PNT A="5" B="Pole" C="54" D="9" H="0.1"/>'
    )
    assert len(field.features) == 3
    told = " ".join(said(result, "not-in-plan-model"))
    assert all(word in told for word in ("PLN@D", "LSG@C", "PNT@E", "PNT@H"))
