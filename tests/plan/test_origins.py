from uuid import UUID

import numpy as np
import pytest

from taskkit.geometry.datum import Placed
from taskkit.plan.loading import plan_from
from taskkit.plan.model import BoundaryChoice, Origin, Purpose
from taskkit.plan.origins import origin_of, outline_origins
from taskkit.plan.quantities import Length
from taskkit.plan.yaml_text import Text

HEAD = "uuid: 0d0f2d44-4bbd-4f0a-9c07-6c7bb1b1fb1a\nname: x\nsteering_frame: ETRS89\nfields:\n"
AREA = "area: 'POLYGON ((9 54, 9.1 54, 9.1 54.1, 9 54))'"


def placed(**of):
    known = {"frame": "ETRS89", "crs_name": "Old grid", "crs_code": "EPSG:25832", "crs_frame": "ETRS89"}
    return Placed(**{"lonlat": np.zeros((0, 2)), "operation": "projection undone", "accuracy_m": 0.0} | known | of)


def plan(*origins):
    fields = "".join(f"  - name: Field {n}\n    boundaries: [{{{AREA}{one}}}]\n" for n, one in enumerate(origins))
    return plan_from(Text(HEAD + fields))


def test_what_was_done_to_coordinates_becomes_their_origin():
    assert origin_of(placed(), epoch=2021.5) == Origin(
        crs="EPSG:25832",
        frame="ETRS89",
        epoch="2021.5",
        operation="projection undone",
        operation_accuracy=Length("0 m"),
    )
    bare = origin_of(placed(crs_code=None, accuracy_m=None))
    assert (bare.crs, bare.epoch, bare.operation_accuracy) == ("Old grid", None, None)


@pytest.mark.parametrize(
    ("origin", "plain"),
    [
        ("crs: EPSG:25832, frame: ETRS89, operation: projection undone, operation_accuracy: 0 m", True),
        ("frame: etrs89", True),
        ("crs: EPSG:25832", True),
        ("frame: ETRS89, operation: from one realisation to another, operation_accuracy: 5 cm", False),
        ("frame: ETRS89, operation: nobody knows", False),
        ("frame: Amersfoort, operation: shifted, operation_accuracy: 25 cm", False),
        ("frame: unknown, operation: carried as it is, operation_accuracy: 0 m", False),
    ],
)
def test_an_outline_is_plain_where_nothing_moved_it_and_nobody_had_to_guess(origin, plain):
    (found,) = outline_origins(plan(f", origin: {{{origin}}}"))
    assert found.plain is plain


def test_outlines_without_an_origin_are_passed_over():
    found = outline_origins(plan("", ", origin: {crs: EPSG:25832}", ", origin: "))
    assert [(one.name, one.origin.crs) for one in found] == [("Field 1", "EPSG:25832")]


def test_the_chosen_outline_counts():
    official = f"{{purpose: official, season: 2026, {AREA}, origin: {{crs: map}}}}"
    worked = f"{{purpose: worked, {AREA}, origin: {{crs: receiver}}}}"
    both = plan_from(Text(f"{HEAD}  - name: x\n    boundaries: [{official}, {worked}]\n"))
    choice = BoundaryChoice(purpose=Purpose.OFFICIAL, season="2026")
    assert [one.origin.crs for one in outline_origins(both)] == ["receiver"]
    (found,) = outline_origins(both, boundary=choice)
    assert (found.origin.crs, found.boundary) == ("map", both.fields[0].boundaries[0].uuid)
    assert isinstance(found.field, UUID)
    assert outline_origins(both, boundary=BoundaryChoice(purpose=Purpose.PHYSICAL)) == ()
