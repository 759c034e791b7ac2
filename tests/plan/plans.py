"""Plans for the tests of the plan room: one small farm written out, and random ones."""

from __future__ import annotations

import datetime
import enum
from uuid import UUID

from hypothesis import strategies as st

from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan import model
from taskkit.plan.leaves import leaves
from taskkit.plan.model import (
    Action,
    Anchor,
    Attachment,
    Boundary,
    BoundaryChoice,
    Corner,
    Crop,
    CurvedLine,
    Customer,
    DepthWord,
    Extension,
    Farm,
    Feature,
    FeatureKind,
    Field,
    HeadingLine,
    Headland,
    IslandHeadland,
    Job,
    JobLine,
    Machine,
    MachineRowEnd,
    Operation,
    Order,
    Origin,
    Passes,
    PivotLine,
    Place,
    Plan,
    Position,
    Product,
    Propagation,
    Purpose,
    Recorded,
    ReferencePoint,
    Rotation,
    RowEndPlan,
    Sector,
    SharedStraightLine,
    Shift,
    Side,
    SideHeadland,
    SideKind,
    SpiralLine,
    Step,
    StraightLine,
    Tool,
    Tractor,
    Tramline,
    TurnShape,
    TurnSide,
    Variety,
    Worker,
)
from taskkit.plan.quantities import Area, Duration, Length, Speed

LARKMOOR = """\
# The spring drilling
format: 2
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


ADDRESS = {"street": "Lane 1", "po_box": "12", "postal_code": "00123", "city": "Thornby", "state": "-", "country": "-"}
SQUARE = Part(
    LonLatLine([(9.5, 54.0), (9.502, 54.0), (9.502, 54.001), (9.5, 54.001)]),
    [LonLatLine([(9.501, 54.0004), (9.5012, 54.0004), (9.5012, 54.0006)])],
)
ORIGIN = Origin(
    crs="EPSG:25832", frame="ETRS89", epoch="2010.0", operation="carried as it is", operation_accuracy=Length("1 mm")
)


def small_plan() -> Plan:
    """One of everything, every member filled; a second field with little in it."""
    a, b = Position(lon_deg=9.5, lat_deg=54.0), Position(lon_deg=9.502, lat_deg=54.0)
    path = LonLatLine([(9.5, 54.0), (9.501, 54.0002), (9.502, 54.0)])
    common = {
        "group": "spring", "spacing": Length("3 m"), "anchor": Anchor.EDGE, "propagation": Propagation.LEFT,
        "extension": Extension.FROM_A, "passes_left": 4, "passes_right": 0, "limit": (SQUARE,),
        "tramline": Tramline(interval=8, phase=4), "source": "driven", "origin": ORIGIN,
    }  # fmt: skip

    def shifts(number: int) -> tuple[Shift, ...]:
        day = datetime.date(2026, 4, 1)
        return (Shift(uuid=numbered(number), date=day, across=Length("0.3 m"), along=Length("-1 ft"), note="drift"),)

    headland = Headland(
        depth=Length("12 m"),
        sides=(SideHeadland(side=numbered(40), depth=Length("0 m")),),
        islands=(
            IslandHeadland(feature=numbered(42), depth=Passes(2)), IslandHeadland(hole=1, depth=DepthWord.AUTO),
        ),
    )  # fmt: skip
    return Plan(
        uuid=numbered(1),
        name="Larkmoor, spring work",
        steering_frame="ETRS89",
        steering_crs="EPSG:4258",
        customers=(
            Customer(
                uuid=numbered(2), name="Estate", first_name="Larkmoor", phone="1", mobile="2",
                fax="3", email="office@larkmoor.example", **ADDRESS,
            ),
        ),
        farms=(Farm(uuid=numbered(3), name="Home Farm", customer=numbered(2), **ADDRESS),),
        workers=(
            Worker(
                uuid=numbered(20), name="Reed", first_name="Ada", phone="4", mobile="5", email="ada@larkmoor.example",
                licence="No 7",
            ),
        ),
        crops=(Crop(uuid=numbered(21), name="Barley", varieties=(Variety(uuid=numbered(22), name="Early"),)),),
        products=(Product(uuid=numbered(23), name="Seed lot 4", kind="seed"),),
        operations=(Operation(uuid=numbered(24), name="Sowing"),),
        machines=(
            Machine(
                uuid=numbered(25), name="Drill set", code="D3", row_end=numbered(8), working_speed=Speed("8 km/h"),
                turning_speed=Speed("4 mph"), transport_speed=Speed("40 km/h"),
                tractor=Tractor(
                    name="Old Blue", turning_radius=Length("5.5 m"), reversing=True, rear_axle_to_hitch=Length("1.1 m"),
                    width=Length("2.55 m"),
                ),
                tools=(
                    Tool(name="Front roller", attachment=Attachment.MOUNTED),
                    Tool(
                        name="Drill", attachment=Attachment.TRAILED, hitch_to_axle=Length("4 m"),
                        working_width=Length("3 m"), lengthwise_offset=Length("4.5 m"), sideways_offset=Length("-2 cm"),
                        folded_width=Length("3 m"), fold_time=Duration("1.5 min"), clear_of_soil=Duration("1 s"),
                        fully_raised=Duration("3 s"), touching_down=Duration("2 s"), at_depth=Duration("4 s"),
                        sections_on_latency=Duration("300 ms"), sections_off_latency=Duration("0.2 s"),
                    ),
                ),
            ),
        ),
        row_end_plans=(
            RowEndPlan(
                uuid=numbered(8), name="Drill", turn=TurnShape.LOOP, side=TurnSide.RIGHT, skip=1, machine=numbered(25),
                working_speed=Speed("8 km/h"), turning_speed=Speed("4 mph"),
                leaving=(
                    Step(action=Action.SECTIONS_OFF, at=Length("0 m"), reference=ReferencePoint.TOOL),
                    Step(action=Action.SPEED, at=Length("-5 ft"), reference="tool", speed=Speed("4 mph")),
                ),
                entering=(
                    Step(action=Action.NOTE, at=Length("2 m"), reference="rear axle", text="Look back"),
                    Step(action=Action.REMOTE_VALVE_FLOAT, at=Length("2 m"), reference="hitch", valve=2),
                ),
            ),
        ),
        fields=(
            Field(
                uuid=numbered(4), name="Long Acre", code="007", official_code="12:30", customer=numbered(2),
                farm=numbered(3), crop=numbered(21), variety=numbered(22), declared_area=Area("1.2 ha"),
                headland=headland, row_end=numbered(8),
                row_ends=(MachineRowEnd(machine=numbered(25), row_end=numbered(8)),),
                boundaries=(
                    Boundary(
                        uuid=numbered(5), parts=(SQUARE,), season="2026", source="walked", method="receiver",
                        date=datetime.date(2026, 3, 31), accuracy=Length("2 cm"), person="Ada Reed",
                        recorded=Recorded.TOOL_EDGE, offset=Length("1.5 m"), origin=ORIGIN,
                    ),
                    Boundary(uuid=numbered(6), purpose=Purpose.OFFICIAL, parts=(SQUARE,)),
                ),
                sides=(
                    Side(
                        uuid=numbered(40), name="Lane", start=Corner(lon_deg=9.5, lat_deg=54.0),
                        end=Corner(point=numbered(41)), kind=SideKind.ROAD, turning=False, overhang=Length("1 m"),
                    ),
                ),
                features=(
                    Feature(
                        uuid=numbered(41), name="Gate", kind=FeatureKind.ACCESS,
                        place=Place(LonLatLine([(9.502, 54.0)])), safety_distance=Length("2 m"), source="walked",
                        date=datetime.date(2026, 3, 31), origin=ORIGIN,
                    ),
                    Feature(uuid=numbered(42), name="Pond", kind=FeatureKind.WATER, place=Place((SQUARE,))),
                ),
                lines=(
                    StraightLine(uuid=numbered(7), name="Along the lane", a=a, b=b, shifts=shifts(50), **common),
                    HeadingLine(
                        uuid=numbered(51), name="By the sun", a=a, heading_deg=35.1234567, shifts=shifts(52), **common
                    ),
                    CurvedLine(uuid=numbered(53), name="Brook", path=path, shifts=shifts(54), **common),
                    PivotLine(
                        uuid=numbered(55), name="Round", centre=a, radius=Length("200 m"), shifts=shifts(56),
                        direction=Rotation.ANTICLOCKWISE, sector=Sector(start_heading_deg=0, end_heading_deg=90.5),
                        **common,
                    ),
                    SpiralLine(uuid=numbered(57), name="Snail", path=path, shifts=shifts(58), **common),
                ),
            ),
            Field(uuid=numbered(9), name="Pond Close"),
        ),
        shared_lines=tuple(
            cls(uuid=numbered(60 + 2 * n), name=f"Both {n}", fields=(numbered(4), numbered(9)),
                shifts=shifts(61 + 2 * n), **form, **common)
            for n, (cls, form) in enumerate(
                [
                    (SharedStraightLine, {"a": a, "b": b}),
                    (model.SharedHeadingLine, {"a": a, "heading_deg": 1}),
                    (model.SharedCurvedLine, {"path": path}),
                    (
                        model.SharedPivotLine,
                        {"centre": a, "radius": "9 m", "sector": Sector(start_heading_deg=0, end_heading_deg=1)},
                    ),
                    (model.SharedSpiralLine, {"path": path}),
                ]
            )
        ),
        jobs=(
            Job(
                uuid=numbered(30), name="Sow Long Acre", field=numbered(4), machine=numbered(25),
                lines=(JobLine(line=numbered(7), shift=numbered(50)), JobLine(line=numbered(60))),
                boundary=BoundaryChoice(purpose=Purpose.WORKED, season="2026"), headland=headland,
                headland_worked=Order.AFTER, row_end=numbered(8), start=datetime.date(2026, 4, 1),
                end=datetime.date(2026, 4, 3), worker=numbered(20), operation=numbered(24), crop=numbered(21),
                variety=numbered(22), product=numbered(23),
            ),
            Job(uuid=numbered(31), name="Roll it", field=numbered(9)),
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


areas = st.lists(parts, min_size=1, max_size=2).map(tuple)
runs = st.lists(_grid, min_size=2, max_size=5).map(LonLatLine)
places = (_grid.map(lambda p: LonLatLine([p])) | runs | areas).map(Place)
dates = st.dates(datetime.date(1, 1, 1))
headings = st.floats(0, 360)
durations = st.integers(0, 10_000).map(lambda ms: Duration.of(ms / 1000))
speeds = st.sampled_from([Speed("4 mph"), Speed("8 km/h"), Speed("2.5 m/s")])
optional = st.none() | texts
origins = st.builds(Origin, crs=texts, epoch=optional, operation_accuracy=st.none() | lengths)
depths = lengths | st.integers(0, 9).map(Passes) | st.just(DepthWord.AUTO)
tools = st.builds(
    Tool,
    name=optional,
    attachment=st.none() | st.sampled_from(Attachment),
    working_width=st.none() | lengths,
    sideways_offset=st.none() | lengths,
    fold_time=st.none() | durations,
    sections_on_latency=st.none() | durations,
)
tractors = st.builds(Tractor, name=texts, turning_radius=st.none() | lengths, reversing=st.none() | st.booleans())


@st.composite
def steps(draw):
    action = draw(st.sampled_from(Action))
    speed = Speed("4 mph") if action is Action.SPEED else None
    text = draw(texts) if action is Action.NOTE else None
    valve = draw(st.integers(1, 9)) if action.startswith("remote valve") else None
    reference = draw(st.sampled_from(ReferencePoint))
    return Step(action=action, at=draw(lengths), reference=reference, speed=speed, text=text, valve=valve)


_FORMS = {
    "Straight": {"a": positions, "b": positions},
    "Heading": {"a": positions, "heading_deg": headings},
    "Curved": {"path": runs},
    "Pivot": {
        "centre": positions,
        "radius": lengths,
        "sector": st.none() | st.builds(Sector, start_heading_deg=headings, end_heading_deg=headings),
    },
    "Spiral": {"path": runs},
}


class _Maker:
    """Draws the parts of a plan; no UUID is there twice, and references go to what is there."""

    def __init__(self, draw) -> None:
        self.draw = draw
        self._count = iter(range(1, 1000))

    def uuid(self) -> UUID:
        return UUID(int=self.draw(st.integers(0, 2**110)) * 1000 + next(self._count))

    def several(self, most: int) -> range:
        return range(self.draw(st.integers(0, most)))

    def maybe(self, strategy):
        return self.draw(st.none() | strategy)

    def one_of(self, things):
        return self.draw(st.none() | st.sampled_from([t.uuid for t in things])) if things else None

    def named(self, cls, most, **more):
        return tuple(
            cls(uuid=self.uuid(), name=self.draw(texts), **{key: make() for key, make in more.items()})
            for _ in self.several(most)
        )

    def line(self, prefix="", **more):
        form = self.draw(st.sampled_from(sorted(_FORMS)))
        return getattr(model, f"{prefix}{form}Line")(
            uuid=self.uuid(),
            name=self.draw(texts),
            group=self.draw(optional),
            spacing=self.draw(lengths),
            anchor=self.draw(st.sampled_from(Anchor)),
            propagation=self.draw(st.sampled_from(Propagation)),
            passes_left=self.maybe(st.integers(0, 99)),
            limit=self.maybe(areas),
            tramline=self.maybe(st.builds(Tramline, interval=st.integers(1, 9), phase=st.none() | st.integers(0, 9))),
            shifts=tuple(
                Shift(uuid=self.uuid(), date=self.draw(dates), across=self.draw(lengths)) for _ in self.several(2)
            ),
            origin=self.maybe(origins),
            **{key: self.draw(strategy) for key, strategy in _FORMS[form].items()},
            **more,
        )

    def headland(self, sides, features):
        def of_sides():
            return [SideHeadland(side=self.one_of(sides) or sides[0].uuid, depth=self.draw(depths))] if sides else []

        def of_islands():
            feature = self.one_of(features)
            hole = None if feature else self.draw(st.integers(1, 9))
            return [IslandHeadland(hole=hole, feature=feature, depth=self.draw(depths)) for _ in self.several(1)]

        return Headland(depth=self.draw(depths), sides=tuple(of_sides()), islands=tuple(of_islands()))

    def corner(self, features) -> Corner:
        point = self.one_of(features)
        if point:
            return Corner(point=point)
        return Corner(lon_deg=self.draw(st.floats(-180, 180)), lat_deg=self.draw(st.floats(-90, 90)))


@st.composite
def plans(draw):
    """A plan with anything in it; references go to objects that are there, no UUID is there twice."""
    make = _Maker(draw)
    customers = make.named(Customer, 2, first_name=lambda: draw(optional))
    farms = make.named(Farm, 2, customer=lambda: make.one_of(customers))
    workers = make.named(Worker, 1, licence=lambda: draw(optional))
    crops = make.named(Crop, 1, varieties=lambda: make.named(Variety, 2))
    products = make.named(Product, 1, kind=lambda: draw(optional))
    row_ends = make.named(
        RowEndPlan,
        2,
        turn=lambda: make.maybe(st.sampled_from(TurnShape)),
        side=lambda: make.maybe(st.sampled_from(TurnSide)),
        skip=lambda: make.maybe(st.integers(0, 9)),
        working_speed=lambda: make.maybe(speeds),
        leaving=lambda: tuple(draw(st.lists(steps(), max_size=2))),
        entering=lambda: tuple(draw(st.lists(steps(), max_size=2))),
    )
    machines = make.named(
        Machine,
        1,
        tractor=lambda: make.maybe(tractors),
        tools=lambda: tuple(draw(st.lists(tools, max_size=2))),
        row_end=lambda: make.one_of(row_ends),
    )
    fields = []
    for _ in make.several(2):
        crop = draw(st.none() | st.sampled_from(crops)) if crops else None
        features = make.named(Feature, 2, kind=lambda: draw(st.sampled_from(FeatureKind)), place=lambda: draw(places))
        sides = make.named(
            Side,
            1,
            start=lambda features=features: make.corner(features),
            end=lambda features=features: make.corner(features),
            turning=lambda: make.maybe(st.booleans()),
        )
        fields.append(
            Field(
                uuid=make.uuid(),
                name=draw(texts),
                code=draw(optional),
                customer=make.one_of(customers),
                farm=make.one_of(farms),
                crop=crop.uuid if crop else None,
                variety=make.one_of(crop.varieties) if crop else None,
                row_end=make.one_of(row_ends),
                row_ends=tuple(MachineRowEnd(machine=m.uuid, row_end=r.uuid) for m in machines for r in row_ends[:1]),
                sides=sides,
                features=features,
                headland=make.headland(sides, features) if draw(st.booleans()) else None,
                boundaries=tuple(
                    Boundary(
                        uuid=make.uuid(),
                        purpose=draw(st.sampled_from(Purpose)),
                        season=draw(optional),
                        parts=draw(areas),
                        date=make.maybe(dates),
                        origin=make.maybe(origins),
                    )
                    for _ in make.several(2)
                ),
                lines=tuple(make.line() for _ in make.several(1)),
            )
        )
    shared = ()
    if fields:
        on = tuple(field.uuid for field in fields)
        shared = tuple(make.line("Shared", fields=on) for _ in make.several(1))
    jobs = []
    for _ in make.several(1) if fields else ():
        field = draw(st.sampled_from(fields))
        lines = (*field.lines, *shared)
        jobs.append(
            Job(
                uuid=make.uuid(),
                name=draw(texts),
                field=field.uuid,
                machine=make.one_of(machines),
                lines=tuple(JobLine(line=line.uuid, shift=make.one_of(line.shifts)) for line in lines),
                headland=make.headland(field.sides, field.features) if draw(st.booleans()) else None,
                row_end=make.one_of(row_ends),
                worker=make.one_of(workers),
                product=make.one_of(products),
                boundary=make.maybe(st.builds(BoundaryChoice, purpose=st.sampled_from(Purpose), season=optional)),
            )
        )
    return Plan(
        uuid=make.uuid(),
        name=draw(texts),
        steering_frame=draw(texts),
        customers=customers,
        farms=farms,
        workers=workers,
        crops=crops,
        products=products,
        machines=machines,
        row_end_plans=row_ends,
        fields=tuple(fields),
        shared_lines=shared,
        jobs=tuple(jobs),
    )


OTHER = {
    "lon_deg": 3.25,
    "lat_deg": 3.25,
    "start": "2026-03-01",
    "end": "2026-05-01",
    "hole": 5,
    "turning": True,
    "depth": Length("77 m"),
    "date": "2020-02-29",
    "fields": (numbered(9), numbered(4)),
    "limit": "POLYGON ((1 1, 2 1, 2 2, 1 1))",
    "place": "POINT (1 2)",
    "path": "LINESTRING (1 1, 2 2)",
    "parts": "POLYGON ((1 1, 2 1, 2 2, 1 1))",
}
BY_TYPE = {
    Length: Length("77 m"),
    Duration: Duration("77 s"),
    Speed: Speed("9 km/h"),
    Area: Area("7 ha"),
    float: 45.5,
    int: 6,
    bool: False,
}
TYPES = {leaf.path: type(leaf.value) for leaf in leaves(small_plan()) if leaf.value is not None}


def another(leaf):
    """Another value that such a leaf could have."""
    name, kind = leaf.path.rpartition(".")[2], TYPES[leaf.path]
    if kind is UUID:
        return UUID(int=leaf.value.int + 100) if leaf.value else numbered(2)
    if name in OTHER:
        return OTHER[name]
    if issubclass(kind, enum.StrEnum):
        return next(word for word in kind if word != leaf.value)
    return BY_TYPE.get(kind, "something else")


def can_stand_alone(leaf):
    """Whether the leaf can be changed without another that belongs to it."""
    name = leaf.path.rpartition(".")[2]
    if ".leaving." in leaf.path or ".entering." in leaf.path:  # a step has the argument of its action
        return name in ("at", "reference") or (name in ("speed", "text", "valve") and leaf.value is not None)
    if ".start." in leaf.path or ".end." in leaf.path or ".islands." in leaf.path:  # one of two ways to say it
        return leaf.value is not None
    return name != "kind" or leaf.value not in ("straight", "A + heading", "pivot")
