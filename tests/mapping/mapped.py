"""What the tests of mapping share: a plan with everything in it, and sets written out by hand."""

from __future__ import annotations

import datetime
from uuid import UUID

import numpy as np

from taskkit.geometry.line import LonLatLine, Part
from taskkit.mapping import ReadBack, Written, write_plan
from taskkit.plan import model
from taskkit.plan.identity import Identity
from taskkit.plan.leaves import changed, leaves
from taskkit.plan.model import (
    Action,
    Attachment,
    Boundary,
    BoundaryChoice,
    Corner,
    Crop,
    Customer,
    DepthWord,
    Extension,
    Farm,
    Feature,
    FeatureKind,
    Field,
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
    Shift,
    Side,
    SideHeadland,
    SideKind,
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
from taskkit.taskdata.document import TaskData
from taskkit.taskdata.reader import decode, parse
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import serialise


def numbered(number: int) -> UUID:
    return UUID(int=number, version=4)


def box(lon_deg: float, lat_deg: float, *, size_deg: float = 0.002, turned: bool = False) -> LonLatLine:
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * size_deg + (lon_deg, lat_deg)
    return LonLatLine(corners[::-1] if turned else corners)


A, B = Position(lon_deg=9.5, lat_deg=54.0123456785), Position(lon_deg=9.502, lat_deg=54.001)
PATH = LonLatLine([(9.5, 54.0), (9.501, 54.0002), (9.502, 54.0)])
ORIGIN = Origin(
    crs="EPSG:25832", frame="ETRS89", epoch="2010.0", operation="as it is", operation_accuracy=Length("1 mm")
)
FORMS: dict[str, dict[str, object]] = {
    "Straight": {"a": A, "b": B},
    "Heading": {"a": A, "heading_deg": 35.1234567},
    "Curved": {"path": PATH},
    "Pivot": {
        "centre": A,
        "radius": Length("200 m"),
        "direction": Rotation.ANTICLOCKWISE,
        "sector": Sector(start_heading_deg=10.0, end_heading_deg=90.5),
    },
    "Spiral": {"path": PATH},
}


def line(number: int, name: str, *, spacing: str = "3 m", **more) -> StraightLine:
    return StraightLine(uuid=numbered(number), name=name, a=A, b=B, spacing=Length(spacing), **more)


def full_line(number: int, form: str, *, shared: str = "", **more):
    """A line of a form with every member filled."""
    return getattr(model, f"{shared}{form}Line")(
        uuid=numbered(number),
        name=f"{form} {shared}".strip(),
        spacing=Length("3 m"),
        propagation=Propagation.LEFT,
        extension=Extension.FROM_A,
        passes_left=4,
        passes_right=0,
        limit=(Part(box(9.5, 54.0, size_deg=0.001)),),
        tramline=Tramline(interval=8, phase=4),
        source="driven",
        origin=ORIGIN,
        **FORMS[form],
        **more,
    )


def shift(number: int, day: int) -> Shift:
    date = datetime.date(2026, 4, day)
    return Shift(uuid=numbered(number), date=date, across=Length("0.3 m"), along=Length("-1 ft"), note="drift")


def row_end(number: int, name: str, **more) -> RowEndPlan:
    leaving = [
        Step(action=action, at=Length("-5 ft"), reference=ReferencePoint.REAR_AXLE)
        for action in Action
        if action not in (Action.SPEED, Action.NOTE) and not action.startswith("remote valve")
    ]
    slow = Step(action=Action.SPEED, at=Length("0 m"), reference=ReferencePoint.HITCH, speed=Speed("4 mph"))
    told = Step(action=Action.NOTE, at=Length("1.5 m"), reference=ReferencePoint.TOOL, text='Look "back"\n& < on')
    valve = Step(action=Action.REMOTE_VALVE_FLOAT, at=Length("1.5 m"), reference=ReferencePoint.TOOL, valve=2)
    return RowEndPlan(
        uuid=numbered(number),
        name=name,
        turn=TurnShape.CROSSING_LOOP,
        side=TurnSide.LEFT,
        skip=2,
        leaving=(*leaving, slow, told, valve),
        entering=(told, leaving[0], slow, valve),
        **more,
    )


def machine(number: int, name: str) -> Machine:
    return Machine(
        uuid=numbered(number),
        name=name,
        code="D3",
        row_end=numbered(8),
        working_speed=Speed("8 km/h"),
        turning_speed=Speed("4 mph"),
        transport_speed=Speed("40 km/h"),
        tractor=Tractor(
            name="Old Blue",
            turning_radius=Length("5.5 m"),
            reversing=True,
            rear_axle_to_hitch=Length("1.1 m"),
            width=Length("2.55 m"),
        ),
        tools=(
            Tool(name="Front roller", attachment=Attachment.MOUNTED),
            Tool(
                name="Drill",
                attachment=Attachment.TRAILED,
                hitch_to_axle=Length("4 m"),
                working_width=Length("3 m"),
                lengthwise_offset=Length("4.5 m"),
                sideways_offset=Length("-2 cm"),
                folded_width=Length("3 m"),
                fold_time=Duration("1.5 min"),
                clear_of_soil=Duration("1 s"),
                fully_raised=Duration("3 s"),
                touching_down=Duration("2 s"),
                at_depth=Duration("4 s"),
                sections_on_latency=Duration("300 ms"),
                sections_off_latency=Duration("0.2 s"),
            ),
        ),
    )


def headland() -> Headland:
    return Headland(
        depth=Length("12 m"),
        sides=(SideHeadland(side=numbered(40), depth=Length("0 m")),),
        islands=(
            IslandHeadland(feature=numbered(53), depth=Passes(2)),
            IslandHeadland(hole=1, depth=DepthWord.AUTO),
        ),
    )


def features() -> tuple[Feature, ...]:
    water = (
        Part(box(9.5, 54.0, size_deg=1e-4), [box(9.50002, 54.00002, size_deg=2e-5, turned=True)]),
        Part(box(9.501, 54.0, size_deg=1e-4)),
    )
    said = {"safety_distance": Length("2 m"), "source": "walked", "date": datetime.date(2026, 3, 31), "origin": ORIGIN}
    gate, post = Place(LonLatLine([(9.502, 54.0)])), Place(LonLatLine([(9.5011, 54.0011)]))
    return (
        Feature(uuid=numbered(50), name="Gate", kind=FeatureKind.ACCESS, place=gate, **said),
        Feature(uuid=numbered(51), name="Power pole", kind=FeatureKind.POLE, place=post),
        Feature(uuid=numbered(52), name="Pasture fence", kind=FeatureKind.FENCE, place=Place(PATH)),
        Feature(uuid=numbered(53), name="Ponds", kind=FeatureKind.WATER, place=Place(water)),
    )


def rich_plan() -> Plan:
    """Two of everything that there can be two of; of one every member is filled, of the other few are."""
    address = {"street": "Lane 1", "po_box": "12", "postal_code": "00123", "city": "Thornby", "state": "-"}
    worked = Boundary(
        uuid=numbered(5),
        parts=(Part(box(9.5, 54.0), [box(9.5005, 54.0005, size_deg=0.0004, turned=True)]), Part(box(9.51, 54.0))),
        season="2026",
        source="walked",
        method="receiver",
        date=datetime.date(2026, 3, 31),
        accuracy=Length("2 cm"),
        person="Ada Reed",
        recorded=Recorded.TOOL_EDGE,
        offset=Length("1.5 m"),
        origin=ORIGIN,
    )
    official = Boundary(uuid=numbered(6), purpose=Purpose.OFFICIAL, parts=(Part(box(9.5, 54.0, size_deg=0.003)),))
    shared = [
        full_line(80 + n, form, shared="Shared", group="both", fields=(numbered(4), numbered(9)), shifts=shifts)
        for n, (form, shifts) in enumerate(
            {form: (shift(86, 1), shift(87, 2)) if form == "Straight" else () for form in FORMS}.items()
        )
    ]
    return Plan(
        uuid=numbered(1),
        name="Larkmoor, spring work",
        steering_frame="ETRS89",
        steering_crs="EPSG:4258",
        customers=(
            Customer(
                uuid=numbered(2),
                name="Estate",
                first_name="Larkmoor",
                country="-",
                phone="1",
                mobile="2",
                fax="3",
                email="office@larkmoor.example",
                **address,
            ),
            Customer(uuid=numbered(12), name="Müller & Söhne <Ernte>"),
        ),
        farms=(
            Farm(uuid=numbered(3), name="Home Farm", customer=numbered(2), country="-", **address),
            Farm(uuid=numbered(13), name="Home Farm"),
        ),
        workers=(
            Worker(
                uuid=numbered(20),
                name="Reed",
                first_name="Ada",
                phone="4",
                mobile="5",
                email="ada@larkmoor.example",
                licence="No 7",
            ),
            Worker(uuid=numbered(21), name="Reed"),
        ),
        crops=(
            Crop(
                uuid=numbered(22),
                name="Barley",
                varieties=(Variety(uuid=numbered(23), name="Early"), Variety(uuid=numbered(24), name="Late")),
            ),
            Crop(uuid=numbered(25), name="Oats"),
        ),
        products=(
            Product(uuid=numbered(26), name="Seed lot 4", kind="seed"),
            Product(uuid=numbered(27), name="Seed lot 5"),
        ),
        operations=(Operation(uuid=numbered(28), name="Sowing"), Operation(uuid=numbered(29), name="Rolling")),
        machines=(
            machine(30, "Drill set"),
            Machine(uuid=numbered(31), name="Roller set"),
            Machine(uuid=numbered(32), name="In the shed"),
        ),
        row_end_plans=(
            row_end(8, "Drill", machine=numbered(30), working_speed=Speed("8 km/h"), turning_speed=Speed("4 mph")),
            RowEndPlan(uuid=numbered(18), name="Bare"),
        ),
        fields=(
            Field(
                uuid=numbered(4),
                name="Long Acre",
                code="007",
                official_code="12:30",
                customer=numbered(2),
                farm=numbered(3),
                crop=numbered(22),
                variety=numbered(23),
                declared_area=Area("1.2 ha"),
                headland=headland(),
                row_end=numbered(8),
                row_ends=(MachineRowEnd(machine=numbered(30), row_end=numbered(8)),),
                boundaries=(official, worked),
                sides=(
                    Side(
                        uuid=numbered(40),
                        name="Lane",
                        start=Corner(lon_deg=9.5, lat_deg=54.0),
                        end=Corner(lon_deg=9.502, lat_deg=54.0),
                        kind=SideKind.ROAD,
                        turning=False,
                        overhang=Length("1 m"),
                    ),
                    Side(
                        uuid=numbered(41),
                        name="Ditch",
                        start=Corner(point=numbered(50)),
                        end=Corner(point=numbered(51)),
                    ),
                ),
                features=features(),
                lines=(
                    line(7, "Along the lane", shifts=(shift(70, 1), shift(71, 2))),
                    line(17, "Along the lane", spacing="2.0004 m"),
                    *(full_line(60 + n, form, group="spring") for n, form in enumerate(FORMS)),
                ),
            ),
            Field(uuid=numbered(9), name="The field behind the barn of the old mill at the river"),
        ),
        shared_lines=tuple(shared),
        jobs=(
            Job(
                uuid=numbered(90),
                name="Sow Long Acre",
                field=numbered(4),
                machine=numbered(30),
                lines=(JobLine(line=numbered(7), shift=numbered(70)), JobLine(line=numbered(60))),
                boundary=BoundaryChoice(purpose=Purpose.WORKED, season="2026"),
                headland=headland(),
                headland_worked=Order.AFTER,
                row_end=numbered(8),
                start=datetime.date(2026, 4, 1),
                end=datetime.date(2026, 4, 3),
                worker=numbered(20),
                operation=numbered(28),
                crop=numbered(22),
                variety=numbered(23),
                product=numbered(26),
            ),
            Job(
                uuid=numbered(91),
                name="Roll it",
                field=numbered(4),
                machine=numbered(31),
                lines=(JobLine(line=numbered(17)),),
            ),
            Job(
                uuid=numbered(92),
                name="Spray both",
                field=numbered(9),
                lines=(JobLine(line=numbered(80), shift=numbered(86)),),
            ),
        ),
    )


def with_given_depths(plan: Plan) -> Plan:
    """A plan in which every headland depth that is left open is 6 m."""
    for leaf in leaves(plan):
        if leaf.value is DepthWord.AUTO:
            plan = changed(plan, leaf, Length("6 m"))
    return plan


def written(plan: Plan, *, derived_objects: bool = False) -> Written:
    """A plan as a set: only what is the plan's own, but where it is said."""
    return write_plan(plan, Identity(), derived_objects=derived_objects)


def parsed(main: str | bytes, links: str | bytes | None = None, **companions: bytes) -> TaskData:
    """A set from its texts; companions by name, with an underscore for the dot."""
    return TaskData(
        _root("TASKDATA.XML", main),
        None if links is None else _root("LINKLIST.XML", links),
        {name.replace("_", "."): content for name, content in companions.items()},
    )


def _root(name: str, text: str | bytes):
    source, problem = decode(name, text.encode() if isinstance(text, str) else text)
    assert problem is None
    reading = parse(source, proof=Version.V4_3)
    assert reading.root is not None, reading.stopped
    return reading.root


def through_bytes(data: TaskData, *, attached: bool = True) -> TaskData:
    """A set as it comes back from the disk."""
    assert data.links is not None
    set_again = parsed(serialise(data.main), serialise(data.links))
    set_again.companions = dict(data.companions) if attached else {}
    return set_again


def task_file(inner: str, *, version: int = 4, head: str = "") -> str:
    """A task file of foreign make."""
    return (
        f'<ISO11783_TaskData VersionMajor="{version}" VersionMinor="3" ManagementSoftwareManufacturer="other" '
        f'ManagementSoftwareVersion="1" DataTransferOrigin="1"{head}>\n{inner}\n</ISO11783_TaskData>'
    )


def ring(kind: int, *corners: tuple[float, float]) -> str:
    points = "".join(f'<PNT A="2" C="{lat}" D="{lon}"/>' for lon, lat in corners)
    return f'<LSG A="{kind}">{points}</LSG>'


def square(kind: int, lon_deg: float, lat_deg: float, size_deg: float) -> str:
    corners = [(lon_deg + x * size_deg, lat_deg + y * size_deg) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))]
    return ring(kind, *corners)


def said(back: ReadBack, rule: str) -> list[str]:
    """The messages of one kind of finding, in order."""
    return [found.message for found in back.findings if found.rule == rule]


def leaf_values(plan: Plan) -> dict[tuple[str, UUID, tuple[int, ...]], object]:
    return {(leaf.path, leaf.owner, leaf.ordinal): leaf.value for leaf in leaves(plan)}
