import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from mapped import line, numbered, parsed, rich_plan, said, shift, task_file, through_bytes, written

from taskkit.errors import RefusedError
from taskkit.mapping import Carried, is_ours, read_plan
from taskkit.mapping.headland_file import FORM
from taskkit.plan.files import dump_plan
from taskkit.plan.model import (
    Action,
    Attachment,
    DepthWord,
    FeatureKind,
    Field,
    Headland,
    Job,
    JobLine,
    Order,
    Passes,
    Plan,
    Purpose,
    ReferencePoint,
    RowEndPlan,
    SideHeadland,
    SideKind,
    Step,
    TurnShape,
    TurnSide,
)
from taskkit.plan.quantities import Length, Speed
from taskkit.shipped import schema_file
from taskkit.taskdata.writer import files

SCHEMA = schema_file("xsd", "headland", "HEADLAND.xsd")
SCHEMA_OF_FORM_2 = etree.XMLSchema(etree.parse(SCHEMA))
XS = "{http://www.w3.org/2001/XMLSchema}"
ONE = numbered(50)
GOOD = f'<row_end_plan uuid="{ONE}" name="Drill"><leaving>{{}}</leaving></row_end_plan>'


def read_with(text):
    """What a set of one field says together with this attached file."""
    link = (
        '<ISO11783LinkList><LGP A="LGP1" B="1"><LNK A="PFD1" B="00000000-0000-4000-8000-000000000004"/>'
        "</LGP></ISO11783LinkList>"
    )
    main = task_file('<PFD A="PFD1" C="Long Acre" D="0"/>')
    return read_plan(parsed(main, link, HEADLAND_XML=text if isinstance(text, bytes) else text.encode()))


def form(inner, number=FORM):
    return f'<headland form="{number}">{inner}</headland>'


def step(attributes):
    return form(GOOD.format(f"<step {attributes}/>"))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "<headland",
        "no XML",
        '<!DOCTYPE headland [<!ENTITY a "aaaa">]><headland form="2">&a;</headland>',
        "<other/>",
        "<headland/>",
        form("", number=3),
        '<headland form="2">' * 500,
        '<?xml version="1.0" encoding="no-such"?><headland form="2"/>',
        b"\xff\xff\xff",
    ],
    ids=["empty", "cut", "text", "doctype", "other root", "no form", "newer form", "deep", "encoding", "bytes"],
)
def test_a_file_that_cannot_be_used_is_one_finding_and_the_set_is_read(text):
    back = read_with(text)
    assert len(said(back, "headland-file-unusable")) == 1
    assert len(back.plan.fields) == 1
    assert (back.plan.row_end_plans, back.plan.fields[0].headland) == ((), None)


@pytest.mark.parametrize(
    ("attributes", "reason"),
    [
        ('action="explode" at_m="1" reference="tool"', "action"),
        ('action="sections on" at_m="1e9" reference="tool"', "no decimal number"),
        ('action="sections on" at_m="nan" reference="tool"', "no decimal number"),
        ('action="sections on" at_m="1,5" reference="tool"', "no decimal number"),
        ('action="sections on" at_m="5 ft" reference="tool"', "no decimal number"),
        ('action="sections on" at_m="9999999999999" reference="tool"', "no decimal number"),
        ('action="sections on" at_m="1" reference="roof"', "reference"),
        ('action="sections on" reference="tool"', "at"),
        ('action="sections on" at_m="1" reference="tool" speed_m_per_s="2"', "speed"),
        ('action="speed" at_m="1" reference="tool"', "speed"),
        ('action="sections on" at_m="1" reference="tool" wait="2"', "'wait' is not known here"),
    ],
)
def test_a_row_end_plan_with_a_step_that_cannot_be_understood_is_left_out_whole(attributes, reason):
    back = read_with(step(attributes))
    assert back.plan.row_end_plans == ()
    (message,) = said(back, "left-out-of-plan")
    assert message.startswith("The row end plan Drill is left out of the plan: ")
    assert reason in message


FOUR = numbered(4)


@pytest.mark.parametrize(
    ("inner", "what"),
    [
        ("<strange/>", "The strange is"),
        ('<row_end_plan uuid="x" name="Drill"/>', "The row end plan Drill"),
        (f'<row_end_plan uuid="{ONE}"/>', f"The row end plan {ONE}"),
        (f'<row_end_plan uuid="{ONE}" name="Drill" skip="-1"/>', "The row end plan Drill"),
        (f'<row_end_plan uuid="{ONE}" name="Drill" turn="flip"/>', "The row end plan Drill"),
        (f'<row_end_plan uuid="{ONE}" name="Drill"><staying/></row_end_plan>', "The row end plan Drill"),
        (f'<row_end_plan uuid="{ONE}" name="Drill"><leaving/><leaving/></row_end_plan>', "The row end plan Drill"),
        (f'<row_end_plan uuid="{ONE}" name="Drill"><leaving a="b"/></row_end_plan>', "The row end plan Drill"),
        (
            f'<row_end_plan uuid="{ONE}" name="Drill"><leaving><stop/></leaving></row_end_plan>',
            "The row end plan Drill",
        ),
        (f'<row_end_plan uuid="{FOUR}" name="Thief"/>', "The row end plan Thief"),
        (f'<row_end_plan uuid="{ONE}" name="Drill" machine="{FOUR}"/>', "The machine of row-end plan Drill"),
        (f'<machine uuid="{ONE}" name="Set" row_end="{FOUR}"/>', "The row end of machine Set"),
        (f'<machine uuid="{ONE}" name="Set"><tools><tool width_m="1"/></tools></machine>', "The machine Set"),
        (f'<machine uuid="{ONE}" name="Set"><tractor reversing="2"/></machine>', "The machine Set"),
        ('<field uuid="x" row_end="1"/>', "The field x"),
        ('<field row_end="1"/>', "The field"),
        (f'<field uuid="{FOUR}"><headland depth="deep"/></field>', f"Something of the field {FOUR}"),
        (f'<field uuid="{FOUR}"><headland/></field>', f"Something of the field {FOUR}"),
        (f'<field uuid="{FOUR}" strange="1"/>', f"Something of the field {FOUR}"),
        (f'<field uuid="{FOUR}"/><field uuid="{FOUR}" row_end="{numbered(60)}"/>', f"The field {FOUR}"),
        (f'<field uuid="{FOUR}" row_end="{ONE}"/>', "The row end of field Long Acre"),
        (f'<field uuid="{numbered(44)}" row_end="{ONE}"/>', f"What is attached to {numbered(44)}"),
        (f'<job uuid="{FOUR}"><headland depth="1 m"/></job>', f"What is attached to {FOUR}"),
        (f'<feature uuid="{numbered(44)}" safety_distance_m="1"/>', f"What is attached to {numbered(44)}"),
        (f'<feature uuid="{FOUR}" kind="swamp"/>', f"Something of the feature {FOUR}"),
        (f'<shift uuid="{FOUR}" date="yesterday"/>', f"Something of the shift {FOUR}"),
    ],
)
def test_what_else_is_wrong_is_left_out_by_itself(inner, what):
    back = read_with(form(inner + f'<row_end_plan uuid="{numbered(60)}" name="Sound"/>'))
    (message,) = said(back, "left-out-of-plan")
    assert message.startswith(what)
    assert "Sound" in [p.name for p in back.plan.row_end_plans]
    assert back.plan.fields[0].uuid == FOUR
    assert back.plan.fields[0].row_end is None
    assert dump_plan(back.plan)  # what was read is a whole plan


def side(number, name, *, start='lon_deg="9" lat_deg="54"', end='lon_deg="9" lat_deg="54"'):
    return f'<side uuid="{numbered(number)}" name="{name}"><from {start}/><to {end}/></side>'


def test_what_hangs_on_something_that_is_left_out_goes_with_it():
    sides = side(61, "Lane", end=f'point="{ONE}"') + side(62, "Ditch") + side(4, "Thief")
    depths = f'<side side="{numbered(61)}" depth="1 m"/><side side="{numbered(62)}" depth="2 m"/>'
    headland = f'<headland depth="12 m"><sides>{depths}</sides></headland>'

    back = read_with(form(f'<field uuid="{FOUR}">{headland}<sides>{sides}</sides></field>'))

    field = back.plan.fields[0]
    assert [one.name for one in field.sides] == ["Ditch"]
    assert field.headland == Headland(
        depth=Length("12 m"), sides=(SideHeadland(side=numbered(62), depth=Length("2 m")),)
    )
    assert sorted(said(back, "left-out-of-plan")) == [
        f"Something of the field {FOUR} is left out of the plan: the UUID of side Thief belongs to another object.",
        "The point of side Lane is left out of the plan: there is no such thing among its features.",
        "The side of field Long Acre is left out of the plan: there is no such thing among its sides.",
    ]
    assert dump_plan(back.plan)


def test_a_file_that_is_too_large_is_not_even_parsed():
    (message,) = said(read_with(form("") + " " * (17 << 20)), "headland-file-unusable")
    assert "larger than 16 MiB" in message


def test_a_field_whose_row_end_plan_is_left_out_keeps_its_headland():
    broken = GOOD.format('<step action="x"/>')
    field = f'<field uuid="{FOUR}" row_end="{ONE}"><headland depth="12.5 m"/></field>'
    plan = read_with(form(broken + field)).plan
    assert plan.fields[0].headland == Headland(depth=Length("12.5 m"))
    assert plan.fields[0].row_end is None


def test_a_file_of_form_1_is_read_as_it_always_was():
    step = '<step action="speed" at_m="-1.524" reference="tool" speed_m_per_s="1.78816"/>'
    plan = read_with(
        f'''<?xml version="1.0" encoding="UTF-8"?>
        <headland form="1">
          <row_end_plan uuid="{ONE}" name="Drill" turn="loop" side="left" skip="2">
            <leaving>{step}</leaving>
          </row_end_plan>
          <field uuid="{FOUR}" depth_m="12.5" row_end_plan="{ONE}"/>
        </headland>'''
    ).plan

    slow = Step(action=Action.SPEED, at=Length("-5 ft"), reference=ReferencePoint.TOOL, speed=Speed("4 mph"))
    assert plan.row_end_plans == (
        RowEndPlan(uuid=ONE, name="Drill", turn=TurnShape.LOOP, side=TurnSide.LEFT, skip=2, leaving=(slow,)),
    )
    assert plan.fields[0].headland == Headland(depth=Length("12.5 m"))
    assert plan.fields[0].row_end == ONE


@pytest.mark.parametrize("depth", [Length("12.5 m"), Passes(1), Passes(12), DepthWord.AUTO, Length("0 m")])
def test_depths_of_every_sort_come_back(depth):
    plan = Plan(uuid=numbered(1), name="x", fields=(Field(uuid=FOUR, name="y", headland=Headland(depth=depth)),))
    made = written(plan)
    SCHEMA_OF_FORM_2.assertValid(etree.fromstring(made.data.companions["HEADLAND.XML"]))
    assert read_plan(through_bytes(made.data)).plan.fields[0].headland == Headland(depth=depth)


def test_a_shift_keeps_its_identity_and_date_where_its_line_is_a_group_by_itself():
    moved = line(7, "Along the lane", shifts=(shift(70, 1), shift(71, 2)))
    job = Job(uuid=numbered(9), name="Sow", field=FOUR, lines=(JobLine(line=numbered(7), shift=numbered(71)),))
    field = Field(uuid=FOUR, name="Long Acre", lines=(moved,))

    plan = read_plan(through_bytes(written(Plan(uuid=numbered(1), name="x", fields=(field,), jobs=(job,))).data)).plan

    (back,) = plan.fields[0].lines[0].shifts
    assert (back.uuid, back.date, back.across) == (numbered(71), moved.shifts[1].date, Length("0.3 m"))
    assert plan.jobs[0].lines == job.lines


WRITTEN = written(rich_plan()).data
RICH = WRITTEN.companions["HEADLAND.XML"]
QUOTED = [match.span(1) for match in re.finditer(rb'"([^"]*)"', RICH)]
LINES = RICH.splitlines(keepends=True)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_whatever_became_of_the_file_what_is_read_is_a_whole_plan(data):
    text = RICH
    for _ in range(data.draw(st.integers(1, 4))):
        if data.draw(st.booleans()):
            start, end = data.draw(st.sampled_from(QUOTED))
            odd = [b"", b"x", b"-1", b"999999999999", str(numbered(4)).encode(), str(numbered(8)).encode(), b"auto"]
            text = text[:start] + data.draw(st.sampled_from(odd)).ljust(end - start)[: max(end - start, 0)] + text[end:]
        else:
            line = data.draw(st.sampled_from(LINES))
            text = text.replace(line, data.draw(st.sampled_from([b"", line * 2])), 1)
    back = through_bytes(WRITTEN)
    back.companions = {"HEADLAND.XML": text}

    assert dump_plan(read_plan(back).plan)


def test_machines_that_nothing_uses_stay_in_the_office():
    names = [machine.name for machine in read_plan(through_bytes(written(rich_plan()).data)).plan.machines]
    assert names == ["Drill set", "Roller set"]


def test_the_file_is_found_whatever_case_its_name_has():
    data = through_bytes(written(rich_plan()).data)
    data.companions = {name.lower(): content for name, content in data.companions.items()}
    assert read_plan(data) == read_plan(through_bytes(written(rich_plan()).data))


def test_there_is_no_file_where_there_is_nothing_to_attach():
    plan = rich_plan().model_copy(update={"row_end_plans": (), "machines": (), "shared_lines": (), "jobs": ()})
    data = written(plan.model_copy(update={"fields": plan.fields[1:]})).data
    assert data.companions == {}
    assert [entry.get("A") for entry in data.main.elements("AFE")] == ["LINKLIST.XML"]


def test_the_entries_name_the_files_and_their_lengths():
    content = dict(files(written(rich_plan()).data))
    entries = {e.get("A"): e.attributes for e in written(rich_plan()).data.main.elements("AFE")}
    assert {name: int(e["F"]) for name, e in entries.items()} == {
        name: len(content[name]) for name in ("LINKLIST.XML", "HEADLAND.XML")
    }
    assert {e["C"] for e in entries.values()} == {""}
    assert [e["D"] for e in entries.values()] == ["1", "128"]


@pytest.mark.parametrize("at", ["999999999999 mi", "0.0000000000000000000000000001 mm"])
def test_a_length_that_cannot_be_meant_is_refused(at):
    step = Step(action=Action.SECTIONS_ON, at=Length(at), reference=ReferencePoint.TOOL)
    plan = Plan(uuid=numbered(1), name="x", row_end_plans=(RowEndPlan(uuid=numbered(2), name="y", leaving=(step,)),))
    with pytest.raises(RefusedError, match=r"row-end plan y: .* nothing was written"):
        written(plan)


def test_a_row_end_plan_that_the_plan_does_not_hold_is_not_carried():
    lost = Field(uuid=FOUR, name="Long Acre", row_end=ONE)
    made = written(Plan(uuid=numbered(1), name="x", fields=(lost,)))
    (loss,) = made.ledger.losses()
    assert (loss.leaf.path, loss.carried) == ("fields.row_end", Carried.NOT_CARRIED)
    assert loss.note == f"the plan holds no such row end, {ONE}"
    assert read_plan(through_bytes(made.data)).plan.fields[0].row_end is None


def test_the_schema_has_the_words_of_the_model():
    root = etree.parse(SCHEMA)
    for words in (Action, Attachment, FeatureKind, Order, Purpose, ReferencePoint, SideKind, TurnShape, TurnSide):
        listed = root.findall(f"{XS}simpleType[@name='{words.__name__}']/{XS}restriction/{XS}enumeration")
        assert [value.get("value") for value in listed] == list(words)


def test_a_set_is_ours_while_nobody_else_wrote_it():
    data = through_bytes(written(rich_plan()).data)
    assert is_ours(data, numbered(1))
    assert not is_ours(data, numbered(2))
    data.main.attributes["DataTransferOrigin"] = "2"
    assert not is_ours(data, numbered(1))
    data.main.attributes |= {"DataTransferOrigin": "1", "ManagementSoftwareManufacturer": "other"}
    assert not is_ours(data, numbered(1))
    again = through_bytes(written(rich_plan()).data)
    again.links = None
    assert not is_ours(again, numbered(1))
