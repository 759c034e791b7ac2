"""Plans for the tests of the plan room: one small farm written out, and random ones."""

from __future__ import annotations

import datetime
from uuid import UUID

from hypothesis import strategies as st

from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.model import (
    Action,
    Boundary,
    Customer,
    Farm,
    Field,
    Headland,
    Plan,
    Position,
    Purpose,
    ReferencePoint,
    RowEndPlan,
    Step,
    StraightLine,
    TurnShape,
    TurnSide,
)
from taskkit.plan.quantities import Area, Length, Speed

LARKMOOR = """\
# The spring drilling
format: 1
uuid: 6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11
name: Larkmoor, spring work
steering_frame: ETRS89
customers:
  - name: Larkmoor Estate
    city: Thornby
farms:
  - name: Home Farm
    customer: Larkmoor Estate
row_end_plans:
  - name: 3 m drill behind the tractor
    turn: loop
    side: right
    skip: 1
    leaving:
      - {action: front-wheel drive off, at: -5 ft, reference: rear axle}
      - {action: speed, at: -10 m, reference: tool, speed: 4 mph}
    entering:
      - {action: note, at: 2 m, reference: tool, text: "Look back: is seed running?"}
fields:
  - name: Long Acre
    code: 007   # as painted on the gate
    customer: Larkmoor Estate
    farm: Home Farm
    declared_area: 1.2 ha
    boundaries:
      - purpose: worked
        area: POLYGON ((9.5 54, 9.502 54, 9.502 54.001, 9.5 54.001, 9.5 54))
        date: 2026-03-31
        accuracy: 2 cm
    lines:
      - {name: Along the lane, a: {lon_deg: 9.5, lat_deg: 54.0}, b: {lon_deg: 9.502, lat_deg: 54.0}, spacing: 3 m}
    headland: {depth: 12 m}
    row_end: 3 m drill behind the tractor
"""


def numbered(number: int) -> UUID:
    return UUID(int=number)


def small_plan() -> Plan:
    """One of everything, every member filled."""
    square = Part(
        LonLatLine([(9.5, 54.0), (9.502, 54.0), (9.502, 54.001), (9.5, 54.001)]),
        [LonLatLine([(9.501, 54.0004), (9.5012, 54.0004), (9.5012, 54.0006)])],
    )
    address = {"street": "Lane 1", "po_box": "12", "postal_code": "00123", "city": "Thornby", "state": "-"}
    return Plan(
        uuid=numbered(1),
        name="Larkmoor, spring work",
        steering_frame="ETRS89",
        customers=(
            Customer(
                uuid=numbered(2), name="Estate", first_name="Larkmoor", country="-", phone="1", mobile="2",
                fax="3", email="office@larkmoor.example", **address,
            ),
        ),
        farms=(Farm(uuid=numbered(3), name="Home Farm", customer=numbered(2), country="-", **address),),
        row_end_plans=(
            RowEndPlan(
                uuid=numbered(8), name="Drill", turn=TurnShape.LOOP, side=TurnSide.RIGHT, skip=1,
                leaving=(
                    Step(action=Action.SECTIONS_OFF, at=Length("0 m"), reference=ReferencePoint.TOOL),
                    Step(action=Action.SPEED, at=Length("-5 ft"), reference="tool", speed=Speed("4 mph")),
                ),
                entering=(Step(action=Action.NOTE, at=Length("2 m"), reference="rear axle", text="Look back"),),
            ),
        ),
        fields=(
            Field(
                uuid=numbered(4), name="Long Acre", code="007", customer=numbered(2), farm=numbered(3),
                declared_area=Area("1.2 ha"), headland=Headland(depth=Length("12 m")), row_end=numbered(8),
                boundaries=(
                    Boundary(
                        uuid=numbered(5), parts=(square,), season="2026", source="walked", method="receiver",
                        date=datetime.date(2026, 3, 31), accuracy=Length("2 cm"),
                    ),
                    Boundary(uuid=numbered(6), purpose=Purpose.OFFICIAL, parts=(square,)),
                ),
                lines=(
                    StraightLine(
                        uuid=numbered(7), name="Along the lane", a=Position(lon_deg=9.5, lat_deg=54.0),
                        b=Position(lon_deg=9.502, lat_deg=54.0), spacing=Length("3 m"),
                    ),
                ),
            ),
            Field(uuid=numbered(9), name="Pond Close"),
        ),
    )  # fmt: skip


texts = st.text(
    st.characters(
        exclude_categories=["Cs"],
        exclude_characters=[*map(chr, [*range(9), 11, 12, *range(14, 32)]), "\ufffe", "\uffff"],
    ),
    max_size=20,
) | st.sampled_from(["", "~", "null", "No", "007", "12:30", "2026-01-01", "1e3", "- a", "a: b", "a #b", "'", '"', "<<"])
lengths = st.integers(-10_000, 10_000).map(lambda mm: Length.of(mm / 1000)) | st.sampled_from(
    [Length("5 ft"), Length("-5 ft"), Length("1,5 m")]
)
positions = st.builds(Position, lon_deg=st.floats(-180, 180), lat_deg=st.floats(-90, 90))
_grid = st.tuples(st.integers(-180 * 10**9, 180 * 10**9), st.integers(-90 * 10**9, 90 * 10**9)).map(
    lambda p: (p[0] / 10**9, p[1] / 10**9)
)
rings = st.lists(_grid, min_size=1, max_size=6).map(LonLatLine)
parts = st.builds(Part, rings, st.lists(rings, max_size=2))


@st.composite
def steps(draw):
    action = draw(st.sampled_from(Action))
    speed = Speed("4 mph") if action is Action.SPEED else None
    text = draw(texts) if action is Action.NOTE else None
    reference = draw(st.sampled_from(ReferencePoint))
    return Step(action=action, at=draw(lengths), reference=reference, speed=speed, text=text)


@st.composite
def plans(draw):
    """A plan with anything in it; references go to objects that are there, no UUID is there twice."""
    optional = st.none() | texts
    count = iter(range(1, 1000))

    def uuid() -> UUID:
        return UUID(int=draw(st.integers(0, 2**110)) * 1000 + next(count))

    def several(most: int) -> range:
        return range(draw(st.integers(0, most)))

    def one_of(things):
        return draw(st.none() | st.sampled_from([t.uuid for t in things])) if things else None

    customers = tuple(Customer(uuid=uuid(), name=draw(texts), first_name=draw(optional)) for _ in several(2))
    farms = tuple(Farm(uuid=uuid(), name=draw(texts), customer=one_of(customers)) for _ in several(2))
    row_ends = tuple(
        RowEndPlan(
            uuid=uuid(),
            name=draw(texts),
            turn=draw(st.none() | st.sampled_from(TurnShape)),
            side=draw(st.none() | st.sampled_from(TurnSide)),
            skip=draw(st.none() | st.integers(0, 9)),
            leaving=tuple(draw(st.lists(steps(), max_size=2))),
            entering=tuple(draw(st.lists(steps(), max_size=2))),
        )
        for _ in several(2)
    )
    fields = tuple(
        Field(
            uuid=uuid(),
            name=draw(texts),
            code=draw(optional),
            customer=one_of(customers),
            farm=one_of(farms),
            row_end=one_of(row_ends),
            headland=draw(st.none() | lengths.map(lambda depth: Headland(depth=depth))),
            boundaries=tuple(
                Boundary(
                    uuid=uuid(),
                    purpose=draw(st.sampled_from(Purpose)),
                    season=draw(optional),
                    parts=tuple(draw(st.lists(parts, min_size=1, max_size=2))),
                    date=draw(st.none() | st.dates()),
                )
                for _ in several(2)
            ),
            lines=tuple(
                StraightLine(uuid=uuid(), name=draw(texts), a=draw(positions), b=draw(positions), spacing=draw(lengths))
                for _ in several(1)
            ),
        )
        for _ in several(2)
    )
    return Plan(
        uuid=uuid(),
        name=draw(texts),
        steering_frame=draw(texts),
        customers=customers,
        farms=farms,
        fields=fields,
        row_end_plans=row_ends,
    )
