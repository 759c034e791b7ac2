"""Main field, headland and headland passes of one field of the plan, for one spacing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from taskkit.errors import InputError
from taskkit.geometry.depths import Along, EdgeDepths, IslandDepth, SideDepth, edge_depths
from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.headland_passes import HeadlandPass, RingChange, headland_passes
from taskkit.geometry.headlands import headland as headland_of
from taskkit.geometry.headlands import main_field, passes_asked, passes_that_fit
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.polygons import MetrePart
from taskkit.plan.boundaries import Boundary, Corner, Side
from taskkit.plan.features import Feature
from taskkit.plan.fields import Field
from taskkit.plan.headlands import Depth, Headland, Passes, depth_m

__all__ = ["HeadlandLayout", "LaidPass", "LaidStretch", "lay_out"]


@dataclass(frozen=True, slots=True)
class LaidStretch:
    """A piece of a headland pass, and what it runs along; an outer ring where no side, hole or feature is given.

    Attributes:
        first: the number of the point where it begins; it ends where the next begins.
        part: the part of the boundary, counted from 0; None along a feature.
        side: the side of the field.
        hole: the hole of the boundary, counted from 1 through all parts.
        feature: the feature of the field.
    """

    first: int
    part: int | None
    side: UUID | None
    hole: int | None
    feature: UUID | None


@dataclass(frozen=True, slots=True)
class LaidPass:
    """One headland pass, with the main field on the left.

    Attributes:
        number: 1 for the outermost.
        line: its points in degrees; a closed one does not repeat its first.
        closed: whether it ends where it begins.
        stretches: what it runs along, in order; the first begins at point 0.
    """

    number: int
    line: LonLatLine
    closed: bool
    stretches: tuple[LaidStretch, ...]


@dataclass(frozen=True, slots=True)
class HeadlandLayout:
    """How a field is divided for one spacing.

    Attributes:
        main_field: its parts, in degrees; none where nothing is left.
        headland: the boundary less the main field.
        main_field_m2: the area of the main field on the ellipsoid.
        headland_m2: the area of the headland.
        passes: the headland passes, from the outermost in.
        changes: where rings of passes split, join or vanish; places in metres on ``plane``.
        passes_asked: how many passes the depths ask for, at most; 0 where no spacing is given.
        passes_that_fit: after how many of them some main field is left.
        plane: the plane on which it was worked out.
    """

    main_field: tuple[Part, ...]
    headland: tuple[Part, ...]
    main_field_m2: float
    headland_m2: float
    passes: tuple[LaidPass, ...]
    changes: tuple[RingChange, ...]
    passes_asked: int
    passes_that_fit: int
    plane: LocalPlane


def lay_out(
    field: Field,
    *,
    boundary: Boundary,
    headland: Headland,
    spacing_m: float | None = None,
    one_line_per_side: bool = False,
) -> HeadlandLayout:
    """Divide a field into main field and headland, and lay the passes of the headland.

    Args:
        field: the field, for its sides and features.
        boundary: the outline to go by; one of the field's.
        headland: the depths: the field's own, or those of a job.
        spacing_m: distance between neighbouring passes; without it there are no headland passes, and depths must
            not be given in passes.
        one_line_per_side: cut the passes where they come to run along something else.

    Raises:
        InputError: a depth is ``auto`` or needs a spacing that is not given, a side has no place on the boundary, a
            feature or hole is not there, or the boundary is not sound; the message names the field.
    """
    plane = LocalPlane.around(ring for part in boundary.parts for ring in part.rings)
    depths = _edge_depths(field, boundary, headland, spacing_m, plane)
    try:
        main = main_field(depths)
        asked = fit = 0
        passes: tuple[HeadlandPass, ...] = ()
        changes: tuple[RingChange, ...] = ()
        if spacing_m is not None:
            asked = int(passes_asked(depths.depth_m, spacing_m=spacing_m).max())
            fit = passes_that_fit(depths, spacing_m=spacing_m)
            found = headland_passes(depths, spacing_m=spacing_m)
            passes, changes = found.passes, found.changes
    except ValueError as error:
        raise InputError(f"{field.title}: {error}") from None
    if one_line_per_side:
        passes = tuple(line for one in passes for line in one.by_side())
    inner, rest = _degrees(plane, main), _degrees(plane, headland_of(depths, main=main))
    laid = tuple(_laid(one, headland, plane) for one in passes)
    return HeadlandLayout(inner, rest, area_m2(inner), area_m2(rest), laid, changes, asked, fit, plane)


def _edge_depths(
    field: Field, boundary: Boundary, headland: Headland, spacing_m: float | None, plane: LocalPlane
) -> EdgeDepths:
    features = {feature.uuid: feature for feature in field.features}
    sides = {side.uuid: side for side in field.sides}

    def metres(depth: Depth, of: str) -> float:
        if isinstance(depth, Passes) and spacing_m is None:
            raise InputError(
                f"{field.title}: the depth of {of} is {depth}, and no spacing is given",
                remedy="Give the depth as a length, such as 12 m",
            )
        found = depth_m(depth, spacing_m=spacing_m or 0.0)
        if found is None:
            raise InputError(
                f"{field.title}: the depth of {of} is left open ({depth}), and is not worked out yet",
                remedy="Give a depth such as 12 m or 2 passes",
            )
        return found

    def feature_of(uuid: UUID) -> Feature:
        if uuid not in features:
            raise InputError(f"{field.title} has no feature {uuid}")
        return features[uuid]

    def corner(at: Corner, side: Side) -> tuple[float, float]:
        if at.lon_deg is not None and at.lat_deg is not None:
            place = LonLatLine([(at.lon_deg, at.lat_deg)])
        elif at.point is not None and (feature := feature_of(at.point)).place.form == "point":
            place = feature.place.line
        else:
            raise InputError(
                f"{field.title}: a corner of {side.title} is a feature that is no point",
                remedy="Name a feature that is a point, or give longitude and latitude",
            )
        # A place beyond the horizon of the field is no number of metres; that is told as lying nowhere near.
        east_m, north_m = plane.metres(place.points)[0].tolist()
        return east_m, north_m

    def side_depth(uuid: UUID, depth: Depth) -> SideDepth:
        if uuid not in sides:
            raise InputError(f"{field.title} has no side {uuid}")
        side = sides[uuid]
        return SideDepth(corner(side.start, side), corner(side.end, side), metres(depth, side.title), side.title)

    def island_depth(uuid: UUID, depth: Depth) -> IslandDepth:
        feature = feature_of(uuid)
        place = feature.place
        shape = _metre_parts(plane, place.parts) if place.form == "area" else plane.to_plane(place.line)
        return IslandDepth(shape, metres(depth, feature.title), feature.title)

    try:
        return edge_depths(
            _metre_parts(plane, boundary.parts),
            depth_m=metres(headland.depth, "the headland"),
            sides=[side_depth(one.side, one.depth) for one in headland.sides],
            holes={one.hole: metres(one.depth, f"hole {one.hole}") for one in headland.islands if one.hole is not None},
            islands=[island_depth(one.feature, one.depth) for one in headland.islands if one.feature is not None],
        )
    except ValueError as error:
        raise InputError(f"{field.title}: {error}") from None


def _metre_parts(plane: LocalPlane, parts: Iterable[Part]) -> tuple[MetrePart, ...]:
    return tuple(tuple(plane.to_plane(ring) for ring in part.rings) for part in parts)


def _degrees(plane: LocalPlane, parts: Iterable[MetrePart]) -> tuple[Part, ...]:
    rings = ([plane.to_degrees(ring) for ring in part] for part in parts)
    return tuple(Part(outer, holes) for outer, *holes in rings)


def _laid(one: HeadlandPass, headland: Headland, plane: LocalPlane) -> LaidPass:
    stretches = tuple(_stretch(stretch.first, stretch.along, headland) for stretch in one.stretches)
    return LaidPass(one.number, plane.to_degrees(one.line), one.closed, stretches)


def _stretch(first: int, along: Along, headland: Headland) -> LaidStretch:
    features = [island.feature for island in headland.islands if island.feature is not None]
    return LaidStretch(
        first,
        along.part,
        None if along.side is None else headland.sides[along.side].side,
        along.hole,
        None if along.island is None else features[along.island],
    )
