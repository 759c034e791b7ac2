"""How guidance lines are drawn in a GIS file."""

from uuid import UUID

import pytest

from taskkit.layers import layers_of
from taskkit.plan.model import Field, PivotLine, Plan, Position, Sector


def extent_deg(sector):
    """How far the drawn line reaches from north to south, degrees of latitude, by its bytes."""
    import shapely

    centre = Position(lon_deg=9.0, lat_deg=54.0)
    pivot = PivotLine(uuid=UUID(int=3), name="Round", centre=centre, radius="100 m", spacing="6 m", sector=sector)
    plan = Plan(uuid=UUID(int=1), name="p", fields=(Field(uuid=UUID(int=2), name="f", lines=(pivot,)),))
    (lines,) = (layer for layer in layers_of(plan) if layer.name == "lines")
    _, south, _, north = shapely.from_wkb(lines.shapes[0]).bounds
    return north - south


@pytest.mark.parametrize(("start", "end"), [(0, 360), (30, 30)])
def test_a_sector_that_ends_where_it_begins_is_drawn_as_the_whole_circle(start, end):
    sector = Sector(start_heading_deg=start, end_heading_deg=end)
    assert extent_deg(sector) == pytest.approx(extent_deg(None), rel=0.01)
