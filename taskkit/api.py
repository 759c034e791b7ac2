"""Where the rooms meet: one function for each thing that a user does. They return values and print nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from taskkit.errors import InputError, InternalError, RefusedError
from taskkit.findings import KINDS, Finding, Kind, Level, Report, Severity

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable

    from taskkit.compare import Comparison
    from taskkit.mapping import Ledger, Written
    from taskkit.plan.copies import Renewed
    from taskkit.plan.edits import EndMoved, LineLeft, OutlineMoved
    from taskkit.plan.fitness import Unfit
    from taskkit.plan.gis_values import GisValues
    from taskkit.plan.model import BoundaryChoice, Plan
    from taskkit.plan.origins import OutlineOrigin
    from taskkit.plan.quantities import Length
    from taskkit.readiness import Readiness
    from taskkit.taskdata.dictionary import Attribute, Element
    from taskkit.taskdata.store import Store
    from taskkit.taskdata.version import Version

__all__ = [
    "Checked",
    "Compared",
    "Created",
    "Edited",
    "Exported",
    "GisWritten",
    "ReadBack",
    "check",
    "compare",
    "edit",
    "explain",
    "export",
    "gis",
    "new",
    "read",
    "ready",
]


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check of one set found.

    Attributes:
        path: the set.
        version: the version it was held against; None where there is no task file.
        report: the findings, what was skipped, what crashed.
    """

    path: Path
    version: Version | None
    report: Report


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export wrote, and how it was proved.

    Attributes:
        plan: what was exported.
        path: the set, in its place.
        version: the version written.
        files: names of the files written.
        ledger: how each leaf of the plan is carried.
        comparison: the plan against what was read back.
        report: the findings of the check of what was written, and of what follows from the plan in it.
        lasting: whether the numbers of the task data are kept for the next export.
        accepted: whether every loss was accepted beforehand.
        left_out: why fields were left out, because they cannot go out as they are.
        origins: how the outlines that went out came into the plan, as far as it says so.
        notes: what was remarkable in GIS files that the plan names, in sentences.
    """

    plan: Plan
    path: Path
    version: Version
    files: tuple[str, ...]
    ledger: Ledger
    comparison: Comparison
    report: Report
    lasting: bool
    accepted: bool
    left_out: tuple[Unfit, ...] = ()
    origins: tuple[OutlineOrigin, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def to_act_on(self) -> bool:
        """Whether somebody has to do something: a loss that was not accepted, or a field that was left out."""
        return not self.accepted or bool(self.left_out)


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A plan that was read from a set.

    Attributes:
        path: the set.
        folder: where the plan was written.
        plan: the plan.
        report: the findings of the set, and what the plan has no word for.
    """

    path: Path
    folder: Path
    plan: Plan
    report: Report


@dataclass(frozen=True, slots=True)
class Compared:
    """Two plans or sets, held against each other."""

    a: Path
    b: Path
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class Created:
    """A plan folder that was made.

    Attributes:
        folder: the folder.
        fields: how many fields are in the plan.
        source: the GIS file they came from.
        frame: the frame their coordinates are in.
        notes: what was remarkable on the way, in sentences.
    """

    folder: Path
    fields: int
    source: Path | None
    frame: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GisWritten:
    """A plan or set that was written as GIS files.

    Attributes:
        files: the files, in their places.
        layers: the layers, each with its number of features.
        frame: the frame of the coordinates.
        crs: the coordinate system that the files name.
        notes: what was remarkable, in sentences.
    """

    files: tuple[Path, ...]
    layers: tuple[tuple[str, int], ...]
    frame: str
    crs: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Edited:
    """A plan that was changed in its place.

    Attributes:
        path: the file of the plan.
        former: where the file as it was is kept; None where nothing had to be changed.
        outline: the outline that was moved.
        moved: the ends of lines that were moved.
        left: the lines that stayed, and why.
        renewed: copied objects that have UUIDs of their own now.
    """

    path: Path
    former: Path | None
    outline: OutlineMoved | None = None
    moved: tuple[EndMoved, ...] = ()
    left: tuple[LineLeft, ...] = ()
    renewed: tuple[Renewed, ...] = ()


def check(path: Path | str, *, level: Level = Level.OFFICE) -> Checked:
    """Validate one set: the dictionary of the standard, then the rules beyond it.

    Raises:
        InputError, UnsafeInputError: it cannot be opened, or breaks a bound.
    """
    from taskkit.taskdata.store import open_store

    return _check(open_store(path), Path(path), level)


def _check(store: Store, path: Path, level: Level, *, also: Iterable[Finding] = ()) -> Checked:
    from taskkit.checks import SetContext, run_checks
    from taskkit.taskdata.sets import read_set

    reading = read_set(store)
    run_checks(SetContext(reading), reading.findings, level=level)
    reading.findings.extend(also)
    return Checked(path, reading.version if reading.data else None, reading.findings.report())


def export(
    path: Path | str,
    out: Path | str,
    *,
    version: str = "4.3",
    accept_losses: str = "",
    stored: bool = False,
    boundary: str = "",
    leave_out_unfit: bool = False,
    one_line_per_side: bool = False,
) -> Exported:
    """Write a plan as task data; it is put in place only when it was validated, read back and found equal.

    Args:
        path: the plan.
        out: a folder, in which ``TASKDATA`` is made, or a file ending in ``.zip``.
        version: version of the standard to write.
        accept_losses: ``all``, or a file that lists the losses that are accepted, one a line.
        stored: leave a zip unpacked.
        boundary: the outline of each field to write, as ``PURPOSE`` or ``PURPOSE:SEASON``; the usual one without it.
        leave_out_unfit: write the fields that can go out; without it, one that cannot stops the export.
        one_line_per_side: write headland passes as a line along each side instead of closed curves.

    Raises:
        InputError: the plan, or the place, cannot be used.
        RefusedError: a field cannot go out, what is written would have errors, or would overwrite what is not ours.
        InternalError: our own proof failed; nothing was put in place.
    """
    from taskkit.mapping import write_plan
    from taskkit.plan.identity import load_identity, save_identity
    from taskkit.plan.origins import outline_origins
    from taskkit.taskdata.store import written_beside
    from taskkit.taskdata.version import Version
    from taskkit.taskdata.writer import FOLDER, files, write_folder, write_zip

    if version != Version.V4_3.text:
        raise InputError(f"version {version} cannot be written", remedy=f"Write {Version.V4_3.text}")
    choice = _boundary(boundary)
    loaded, values = _plan(path)
    plan, left_out = _fit(loaded, choice, leave_out=leave_out_unfit)
    accepted = _accepted(accept_losses)
    written = write_plan(plan, load_identity(path), boundary=choice, one_line_per_side=one_line_per_side)
    target = Path(out)
    is_zip = target.suffix.lower() == ".zip"
    if not is_zip and target.name.upper() != FOLDER:
        target = target / FOLDER
    _refuse_foreign(target, plan)
    with written_beside(target) as new_set:
        if is_zip:
            write_zip(written.data, new_set, stored=stored)
        else:
            write_folder(written.data, new_set)
        report, comparison = _proved(new_set, plan, written)
    lasting = save_identity(written.identity, path).lasting
    names = tuple(name for name, _ in files(written.data))
    losses = {loss.key for loss in written.ledger.losses()}
    return Exported(
        plan, target, Version.V4_3, names, written.ledger, comparison, report, lasting,
        accepted is None or losses <= accepted, left_out, outline_origins(plan, boundary=choice), values.notes,
    )  # fmt: skip


def _plan(path: Path | str) -> tuple[Plan, GisValues]:
    """The plan, and what fetched its values from the GIS files beside it."""
    from taskkit.plan.files import load_plan
    from taskkit.plan.gis_values import GisValues

    values = GisValues()
    return load_plan(path, resolve=values), values


def _boundary(text: str) -> BoundaryChoice | None:
    """The choice that ``PURPOSE`` or ``PURPOSE:SEASON`` means; None where nothing is said."""
    from taskkit.plan.model import BoundaryChoice, Purpose

    if not text:
        return None
    purpose, _, season = text.partition(":")
    if purpose not in list(Purpose):
        known = ", ".join(Purpose)
        raise InputError(f"{purpose!r} is no purpose of a boundary", remedy=f"Name one of {known}, or PURPOSE:SEASON")
    return BoundaryChoice(purpose=Purpose(purpose), season=season or None)


def _fit(plan: Plan, boundary: BoundaryChoice | None, *, leave_out: bool) -> tuple[Plan, tuple[Unfit, ...]]:
    """The plan as far as it can go out, and why the rest cannot."""
    from taskkit.plan.fitness import unfit, without

    found = unfit(plan, boundary=boundary)
    if not found:
        return plan, ()
    fields = {one.field for one in found}
    if leave_out and len(fields) < len(plan.fields):
        return without(plan, fields), found
    lines = "".join(f"\n  {one}" for one in found)
    way = "" if leave_out else "; leave them out with --leave-out-unfit"
    raise RefusedError(f"nothing was written, because fields cannot go out as they are{way}:{lines}")


def _accepted(accept_losses: str) -> frozenset[str] | None:
    """The losses that are accepted; None for all."""
    if accept_losses == "all":
        return None
    if not accept_losses:
        return frozenset()
    try:
        lines = Path(accept_losses).read_text("utf-8").splitlines()
    except (OSError, UnicodeError) as error:
        raise InputError(f"the list of accepted losses cannot be read: {error}", path=accept_losses) from error
    return frozenset(line.strip() for line in lines if line.strip() and not line.startswith("#"))


def _refuse_foreign(target: Path, plan: Plan) -> None:
    """Refuse to replace, or to push out of its place as ``.old``, what was not written from this plan by us."""
    for place in (target, target.with_name(target.name + ".old")):
        if place.exists() and (why := _not_ours(place, plan)):
            raise RefusedError(
                f"{place} is there already and {why}; nothing was written. Move it away, or choose another place."
            )


def _not_ours(place: Path, plan: Plan) -> str:
    """Why a set is not ours to replace; empty where it is."""
    from taskkit.mapping import OUR_FILES, is_ours
    from taskkit.taskdata.sets import read_set
    from taskkit.taskdata.store import open_store

    store = open_store(place)
    data = read_set(store, oracle=False).data
    if data is None or not is_ours(data, plan.uuid):
        return "was not written from this plan"
    # Logs and results that a terminal left beside our files are somebody's season of work.
    others = [name for name in (*store.names, *store.elsewhere) if name not in OUR_FILES]
    if others:
        more = f" and {len(others) - 3} more" if len(others) > 3 else ""
        return f"holds files that we did not write: {', '.join(others[:3])}{more}"
    return ""


def _proved(path: Path, plan: Plan, written: Written) -> tuple[Report, Comparison]:
    """Check what was written as anybody's set, read it back, and hold it against the plan."""
    from taskkit.compare import compare_plans
    from taskkit.mapping import read_plan
    from taskkit.taskdata.sets import read_set
    from taskkit.taskdata.store import open_store

    report = _check(open_store(path), path, Level.OFFICE, also=written.findings).report
    errors = [found for found in report if found.severity is Severity.ERROR]
    if errors:
        shown = "; ".join(f"{found.message} {found.hint}" for found in errors[:3])
        more = f" (and {len(errors) - 3} more)" if len(errors) > 3 else ""
        raise RefusedError(f"nothing was written, because the task data would have errors: {shown}{more}")
    reading = read_set(open_store(path), oracle=False)
    if reading.data is None or report.crashed:
        raise InternalError(f"our own output cannot be read back: {report.crashed}")
    comparison = compare_plans(plan, read_plan(reading.data).plan, explained=written.ledger.explains)
    if not comparison.equal:
        first = comparison.differences[0]
        raise InternalError(f"nothing was written: read back, the plan differs in {first.where}: {first.what}")
    return report, comparison


def read(path: Path | str, out: Path | str) -> ReadBack:
    """Read a set, ours or not, into a plan folder.

    Raises:
        InputError, UnsafeInputError: the set cannot be opened, or has no task file that can be read.
        RefusedError: the folder holds a plan already.
    """
    from taskkit.mapping import read_plan
    from taskkit.plan.files import save_plan
    from taskkit.taskdata.sets import read_set
    from taskkit.taskdata.store import open_store

    reading = read_set(open_store(path))
    if reading.data is None:
        raise _unreadable(reading.findings.report(), path)
    back = read_plan(reading.data)
    reading.findings.extend(back.findings)
    save_plan(back.plan, out)
    return ReadBack(Path(path), Path(out), back.plan, reading.findings.report())


def _unreadable(report: Report, path: Path | str) -> InputError:
    worst = max(report, key=lambda found: found.severity)
    message = f"the set cannot be read: {worst.where}: {worst.message}".rstrip(".")
    return InputError(message, path=path, remedy=worst.hint.rstrip("."))


def compare(a: Path | str, b: Path | str, *, tolerance: str = "1 mm") -> Compared:
    """Compare two plans or sets on the ground.

    Where one of them is a set, what a set cannot hold (see the ledger: kept) is left out of the comparison.

    Raises:
        InputError: one of them cannot be read, or the tolerance is no length.
    """
    from taskkit.compare import compare_plans
    from taskkit.mapping import stays_in_the_office
    from taskkit.plan.quantities import Length

    try:
        tolerance_mm = Length(tolerance).metres * 1000
    except ValueError as error:
        raise InputError(f"the tolerance {tolerance[:60]!r} is no length: {error}") from None
    if tolerance_mm < 0:
        raise InputError(f"the tolerance {tolerance} is below nothing", remedy='Write, for example, "1 cm"')
    (plan_a, values_a), (plan_b, values_b) = (_plan_or_set(Path(path)) for path in (a, b))
    explained = stays_in_the_office(plan_a, plan_b) if not (values_a and values_b) else lambda _path, _owner: False
    comparison = compare_plans(plan_a, plan_b, explained=explained, tolerance_mm=tolerance_mm)
    return Compared(Path(a), Path(b), comparison)


def _plan_or_set(path: Path) -> tuple[Plan, GisValues | None]:
    """The plan, and where it is not that of a set, what fetched its values."""
    from taskkit.mapping import read_plan
    from taskkit.plan.files import PLAN_FILE
    from taskkit.taskdata.sets import read_set
    from taskkit.taskdata.store import open_store

    if (path / PLAN_FILE).is_file() or path.suffix.lower() in (".yaml", ".yml"):
        return _plan(path)
    reading = read_set(open_store(path), oracle=False)
    if reading.data is None:
        raise _unreadable(reading.findings.report(), path)
    return read_plan(reading.data).plan, None


def explain(word: str) -> Kind | Element | Attribute:
    """What a rule, an element (``PFD``) or an attribute (``PFD@C``) is.

    Raises:
        InputError: there is no such word; the nearest ones are named.
    """
    import difflib

    import taskkit.checks
    import taskkit.mapping
    import taskkit.readiness  # noqa: F401 - the three declare the kinds of findings
    from taskkit.taskdata.dictionary import dictionary

    elements = dictionary().elements
    code, _, letter = word.partition("@")
    by_case = {known.upper(): element for known, element in elements.items()}
    element = by_case.get(code.upper())
    if element is not None and not letter:
        return element
    if element is not None:
        found = {known.upper(): attribute for known, attribute in element.attributes.items()}.get(letter.upper())
        if found is not None:
            return found
    elif word.lower() in KINDS:
        return KINDS[word.lower()]
    known = [*KINDS, *elements, *(f"{e.code}@{a}" for e in elements.values() for a in e.attributes)]
    near = difflib.get_close_matches(word, known, n=3, cutoff=0.5)
    remedy = f"Did you mean {' or '.join(near)}" if near else "Name a rule, an element (PFD) or an attribute (PFD@C)"
    raise InputError(f"nothing is known of {word[:60]!r}", remedy=remedy)


def new(
    folder: Path | str,
    *,
    source: Path | str | None = None,
    name_from: str | None = None,
    code_from: str | None = None,
    farm_from: str | None = None,
    customer_from: str | None = None,
    layer: str | None = None,
    frame: str | None = None,
    accept_accuracy: bool = False,
) -> Created:
    """Make a plan folder, empty or with one field for each area of a GIS file.

    Args:
        folder: the folder.
        source: the GIS file.
        name_from, code_from, farm_from, customer_from: its columns with names and codes.
        layer: which layer, where it has several.
        frame: the steering frame; None to take the one in use where the fields lie.
        accept_accuracy: whether to take a transformation that is stated to be worse than 0.3 m.

    Raises:
        InputError: the GIS file cannot be used (format, frame, column, shape).
        RefusedError: the folder holds a plan already.
    """
    import uuid

    from taskkit.plan.files import save_plan
    from taskkit.plan.model import Plan

    plan = Plan(uuid=uuid.uuid4(), name=Path(folder).resolve().name)
    if frame is not None:
        plan = plan.model_copy(update=_steering(frame))
    notes: tuple[str, ...] = ()
    if source is not None:
        from taskkit.plan.from_gis import Columns, fields_from

        imported = fields_from(
            Path(source),
            columns=Columns(name=name_from, code=code_from, farm=farm_from, customer=customer_from),
            layer=layer,
            frame=frame,
            accept_accuracy=accept_accuracy,
        )
        plan = plan.model_copy(
            update={
                "fields": imported.fields, "farms": imported.farms, "customers": imported.customers,
                **_steering(imported.frame),
            }
        )  # fmt: skip
        notes = (imported.told, *imported.notes)
    save_plan(plan, folder)
    return Created(Path(folder), len(plan.fields), None if source is None else Path(source), plan.steering_frame, notes)


def _steering(frame: str) -> dict[str, str | None]:
    """What a plan says of its frame."""
    from taskkit.geometry.frames import UNKNOWN, frame_named

    found = frame_named(frame)
    return {"steering_frame": found.name, "steering_crs": None if found.name == UNKNOWN else found.written_as}


def gis(path: Path | str, out: Path | str, *, replace: bool = False) -> GisWritten:
    """Write a plan or a set as a GIS file, in the frame of its coordinates.

    Args:
        path: the plan or the set.
        out: the file; its ending says the format.
        replace: whether a file that is there already may be replaced.

    Raises:
        InputError: plan or set cannot be read, or the file cannot be written.
        RefusedError: a file is there already, or there is nothing to write.
    """
    from taskkit.geometry.frames import UNKNOWN, frame_named
    from taskkit.gis.writing import write_layers
    from taskkit.layers import layers_of

    plan, values = _plan_or_set(Path(path))
    notes: tuple[str, ...] = values.notes if values else ()
    try:
        frame = frame_named(plan.steering_frame)
    except InputError:
        frame = frame_named(UNKNOWN)
        notes += (f"the frame {plan.steering_frame} is not known here; the file names WGS 84 instead",)
    layers = layers_of(plan)
    written = write_layers(out, layers, crs=frame.written_as, replace=replace)
    counts = tuple((layer.name, len(layer.shapes)) for layer in layers if layer.shapes)
    return GisWritten(written.files, counts, plan.steering_frame, frame.written_as, (*notes, *written.notes))


def ready(
    path: Path | str,
    *,
    field: str | None = None,
    job: str | None = None,
    boundary: str = "",
    on: datetime.date | None = None,
) -> Readiness:
    """Look whether everything is there that an export, and turning by itself, needs.

    Args:
        path: the plan.
        field: one field, by UUID, code or exact name; all without it.
        job: one job, by UUID or exact name, likewise; among those of the field where one is named.
        boundary: the outline of each field that counts, as ``PURPOSE`` or ``PURPOSE:SEASON``; the usual one without it.
        on: the day on which the age of outlines is judged; today without it.

    Raises:
        InputError: the plan cannot be read, or a word means no field or job, or several.
    """
    import datetime

    from taskkit.plan.selectors import selected
    from taskkit.readiness import readiness

    choice = _boundary(boundary)
    plan, _ = _plan(path)
    fields = None if field is None else (selected(plan.fields, field, kind="field"),)
    among = [one for one in plan.jobs if fields is None or one.field == fields[0].uuid]
    jobs = None if job is None else (selected(among, job, kind="job"),)
    return readiness(plan, on=on or datetime.date.today(), fields=fields, jobs=jobs, boundary=choice)


def edit(
    path: Path | str,
    field: str | None = None,
    *,
    shift_outline: str = "",
    extend_lines: str = "",
    boundary: str = "",
    new_identity: bool = False,
    on: datetime.date | None = None,
) -> Edited:
    """Change a plan in its place, by the bytes of what changes; the file as it was is kept beside it.

    Args:
        path: the plan.
        field: the field, by UUID, code or exact name; needed for everything but ``new_identity``.
        shift_outline: how far to move its outline outward, a length.
        extend_lines: how far beyond its edge A and B of its lines are to lie at least, a length.
        boundary: which of its outlines, as ``PURPOSE`` or ``PURPOSE:SEASON``; the usual one without it.
        new_identity: give objects that were copied with their UUIDs new ones; goes alone.
        on: the day that is noted; today without it.

    Raises:
        InputError: the plan cannot be read or written, a word means no field or several, or a length is none.
        RefusedError: it would spoil an outline, or the file changed meanwhile.
    """
    import datetime

    from taskkit.plan import edits
    from taskkit.plan.files import save_changes
    from taskkit.plan.selectors import selected

    on = on or datetime.date.today()
    if new_identity:
        if field is not None or shift_outline or extend_lines:
            raise InputError("new identities are given to the whole plan", remedy="Use --new-identity alone")
        return _with_new_identities(path, on)
    if not (shift_outline or extend_lines):
        raise InputError("nothing to do was named", remedy="Use --shift-outline, --extend-lines or --new-identity")
    if field is None:
        raise InputError("no field was named", remedy="Name it after the plan, by its name, its code or its UUID")
    by_outline, by_lines = (_length(text) if text else None for text in (shift_outline, extend_lines))
    choice = _boundary(boundary)
    file, text = _plan_text(path)
    old, values = _plan(file)
    new = old
    chosen = selected(old.fields, field, kind="field")
    outline: OutlineMoved | None = None
    moved: tuple[EndMoved, ...] = ()
    left: tuple[LineLeft, ...] = ()
    if by_outline is not None:
        new, outline = edits.move_outline(new, chosen, by=by_outline, on=on, boundary=choice)
        chosen = next(one for one in new.fields if one.uuid == chosen.uuid)
    if by_lines is not None:
        new, moved, left = edits.extend_lines(new, chosen, by=by_lines, boundary=choice)
    if new == old:
        return Edited(file, None, outline, moved, left)
    with edits.former_kept(file, text, on=on) as former:
        save_changes(old, new, file, resolve=values)
    return Edited(file, former, outline, moved, left)


def _with_new_identities(path: Path | str, on: datetime.date) -> Edited:
    from taskkit.plan.copies import with_new_identities
    from taskkit.plan.edits import former_kept
    from taskkit.plan.files import save_text

    file, text = _plan_text(path)
    changed, renewed = with_new_identities(text, path=file)
    if not renewed:
        return Edited(file, None)
    with former_kept(file, text, on=on) as former:
        save_text(changed, file)
    return Edited(file, former, renewed=renewed)


def _plan_text(path: Path | str) -> tuple[Path, str]:
    from taskkit.plan.files import plan_text

    text = plan_text(path)
    return Path(str(text.path)), text.text


def _length(text: str) -> Length:
    from taskkit.plan.quantities import Length

    try:
        return Length(text)
    except ValueError as error:
        raise InputError(str(error)) from None
