"""What the tests of mapping share: a plan with everything in it, and sets written out by hand."""

from __future__ import annotations

import datetime
from uuid import UUID

import numpy as np

from taskkit.geometry.line import LonLatLine, Part
from taskkit.mapping import ReadBack, Written, write_plan
from taskkit.plan.identity import Identity
from taskkit.plan.leaves import leaves
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
from taskkit.taskdata.document import TaskData
from taskkit.taskdata.reader import decode, parse
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import serialise


def numbered(number: int) -> UUID:
    return UUID(int=number, version=4)


def box(lon_deg: float, lat_deg: float, *, size_deg: float = 0.002, turned: bool = False) -> LonLatLine:
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * size_deg + (lon_deg, lat_deg)
    return LonLatLine(corners[::-1] if turned else corners)


def line(number: int, name: str, *, spacing: str = "3 m") -> StraightLine:
    return StraightLine(
        uuid=numbered(number),
        name=name,
        a=Position(lon_deg=9.5, lat_deg=54.0123456785),
        b=Position(lon_deg=9.502, lat_deg=54.001),
        spacing=Length(spacing),
    )


def row_end(number: int, name: str) -> RowEndPlan:
    leaving = [
        Step(action=action, at=Length("-5 ft"), reference=ReferencePoint.REAR_AXLE)
        for action in Action
        if action not in (Action.SPEED, Action.NOTE)
    ]
    slow = Step(action=Action.SPEED, at=Length("0 m"), reference=ReferencePoint.HITCH, speed=Speed("4 mph"))
    told = Step(action=Action.NOTE, at=Length("1.5 m"), reference=ReferencePoint.TOOL, text='Look "back"\n& < on')
    return RowEndPlan(
        uuid=numbered(number),
        name=name,
        turn=TurnShape.CROSSING_LOOP,
        side=TurnSide.LEFT,
        skip=2,
        leaving=(*leaving, slow, told),
        entering=(told, leaving[0], slow),
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
    )
    return Plan(
        uuid=numbered(1),
        name="Larkmoor, spring work",
        steering_frame="ETRS89",
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
        row_end_plans=(row_end(8, "Drill"), RowEndPlan(uuid=numbered(18), name="Bare")),
        fields=(
            Field(
                uuid=numbered(4),
                name="Long Acre",
                code="007",
                customer=numbered(2),
                farm=numbered(3),
                declared_area=Area("1.2 ha"),
                headland=Headland(depth=Length("12 m")),
                row_end=numbered(8),
                boundaries=(
                    Boundary(uuid=numbered(6), purpose=Purpose.OFFICIAL, parts=(Part(box(9.5, 54.0, size_deg=0.003)),)),
                    worked,
                ),
                lines=(line(7, "Along the lane"), line(17, "Along the lane", spacing="2.0004 m")),
            ),
            Field(uuid=numbered(9), name="The field behind the barn of the old mill at the river"),
        ),
    )


def written(plan: Plan) -> Written:
    return write_plan(plan, Identity())


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
