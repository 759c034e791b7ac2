"""Results as JSON that others build on: keys stay, more may come; the version counts changes of meaning."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from taskkit.findings import Finding, Kind, Report
from taskkit.taskdata.dictionary import Attribute, Element

if TYPE_CHECKING:
    # What only some commands need is not imported for all: check starts without the plan's libraries.
    from taskkit.api import Checked, Compared, Created, Edited, Exported, GisWritten, ReadBack
    from taskkit.compare import Comparison
    from taskkit.plan.origins import OutlineOrigin
    from taskkit.readiness import Answer, Readiness

__all__ = [
    "VERSION",
    "checks",
    "comparison",
    "creation",
    "edit",
    "explanation",
    "export",
    "gis",
    "readiness",
    "reading",
]

VERSION = 1


def checks(checked: Sequence[Checked]) -> str:
    """The result of ``check``."""
    return _dump(
        {
            "sets": [
                {
                    "path": str(one.path),
                    "taskdata_version": None if one.version is None else one.version.text,
                    **_report(one.report),
                }
                for one in checked
            ]
        }
    )


def export(exported: Exported) -> str:
    """The result of ``export``."""
    ledger = exported.ledger
    return _dump(
        {
            "plan": {"uuid": str(exported.plan.uuid), "name": exported.plan.name},
            "path": str(exported.path),
            "taskdata_version": exported.version.text,
            "files": list(exported.files),
            "ledger": {
                "counts": dict(ledger.counts()),
                "missed_by_driver": list(ledger.missed_by_driver()),
                "entries": [
                    {"key": e.key, "what": e.label, "class": str(e.carried), "note": e.note} for e in ledger.entries
                ],
            },
            "losses_accepted": exported.accepted,
            "left_out": [
                {"uuid": str(u.field), "name": u.name, "reason": u.reason, "lon_deg": u.lon_deg, "lat_deg": u.lat_deg}
                for u in exported.left_out
            ],
            "steering_frame": exported.plan.steering_frame,
            "steering_crs": exported.plan.steering_crs,
            "outlines": [_outline(one) for one in exported.origins],
            "notes": list(exported.notes),
            "lasting_numbers": exported.lasting,
            "comparison": _comparison(exported.comparison),
            "check": _report(exported.report),
        }
    )


def reading(back: ReadBack) -> str:
    """The result of ``read``."""
    counts = {"customers": len(back.plan.customers), "farms": len(back.plan.farms), "fields": len(back.plan.fields)}
    return _dump({"path": str(back.path), "folder": str(back.folder), "plan": counts, **_report(back.report)})


def comparison(compared: Compared) -> str:
    """The result of ``compare``."""
    return _dump({"a": str(compared.a), "b": str(compared.b), **_comparison(compared.comparison)})


def creation(made: Created) -> str:
    """The result of ``new``."""
    return _dump(
        {
            "folder": str(made.folder),
            "fields": made.fields,
            "source": None if made.source is None else str(made.source),
            "frame": made.frame,
            "notes": list(made.notes),
        }
    )


def gis(written: GisWritten) -> str:
    """The result of ``gis``."""
    return _dump(
        {
            "files": [str(file) for file in written.files],
            "layers": [{"name": name, "features": count} for name, count in written.layers],
            "frame": written.frame,
            "crs": written.crs,
            "notes": list(written.notes),
        }
    )


def edit(edited: Edited) -> str:
    """The result of ``edit``."""
    outline = edited.outline
    return _dump(
        {
            "path": str(edited.path),
            "former": None if edited.former is None else str(edited.former),
            "outline": outline
            and {
                "field": outline.field,
                "boundary": {"uuid": str(outline.boundary.uuid), "title": outline.boundary.title},
                "by_m": outline.by.metres,
                "offset_m": outline.boundary.offset and outline.boundary.offset.metres,
                "area_before_m2": outline.area_before_m2,
                "area_after_m2": outline.area_after_m2,
            },
            "moved": [
                {
                    "line": end.line,
                    "end": end.end,
                    "by_m": end.by_m,
                    "lon_deg": end.place[0],
                    "lat_deg": end.place[1],
                    "shared_with": list(end.shared_with),
                }
                for end in edited.moved
            ],
            "left": [{"line": one.line, "why": str(one.why)} for one in edited.left],
            "renewed": [
                {
                    "what": one.title,
                    "line": one.line,
                    "other_line": one.other_line,
                    "old": str(one.old),
                    "new": str(one.new),
                }
                for one in edited.renewed
            ],
        }
    )


def readiness(asked: Readiness) -> str:
    """The result of ``ready``."""
    return _dump(
        {
            "plan": asked.plan,
            "state": str(asked.state),
            "answers": _answers(asked.answers),
            "fields": [
                {
                    "field": {"uuid": str(field.uuid), "name": field.name, "code": field.code},
                    "state": str(field.state),
                    "answers": _answers(field.answers),
                    "jobs": [
                        {
                            "job": None if job.uuid is None else {"uuid": str(job.uuid), "name": job.name},
                            "state": str(job.state),
                            "answers": _answers(job.answers),
                        }
                        for job in field.jobs
                    ],
                }
                for field in asked.fields
            ],
        }
    )


def explanation(explained: Kind | Element | Attribute) -> str:
    """The result of ``explain``."""
    if isinstance(explained, Kind):
        facts: dict[str, Any] = {
            "what": "rule", "name": explained.name, "severity": explained.severity.word, "message": explained.message,
            "hint": explained.hint, "why": explained.why, "source": explained.source,
            "confidence": str(explained.confidence), "level": explained.level.name.lower(),
        }  # fmt: skip
    elif isinstance(explained, Element):
        facts = {
            "what": "element", "name": explained.code, "title": explained.name, "about": explained.about,
            "since": explained.span.since.text, "confidence": str(explained.confidence), "source": explained.source,
            "attributes": list(explained.attributes), "children": list(explained.children),
        }  # fmt: skip
    else:
        facts = {
            "what": "attribute", "name": f"{explained.element}@{explained.code}", "title": explained.name,
            "about": explained.about, "type": explained.type, "required": explained.required,
            "minimum": _number(explained.minimum), "maximum": _number(explained.maximum),
            "max_length": explained.max_length, "pattern": explained.pattern, "unit": explained.unit,
            "values": {value.value: value.meaning for value in explained.values}, "target": explained.target,
            "since": explained.span.since.text, "confidence": str(explained.confidence), "source": explained.source,
        }  # fmt: skip
    return _dump(facts)


def _outline(one: OutlineOrigin) -> dict[str, Any]:
    """How the outline of a field came into the plan."""
    origin, accuracy = one.origin, one.origin.operation_accuracy
    return {
        "field": str(one.field), "name": one.name, "boundary": str(one.boundary), "crs": origin.crs,
        "frame": origin.frame, "epoch": origin.epoch, "operation": origin.operation,
        "accuracy_m": None if accuracy is None else accuracy.metres, "plain": one.plain,
    }  # fmt: skip


def _dump(facts: dict[str, Any]) -> str:
    return json.dumps({"version": VERSION, **facts}, indent=2, ensure_ascii=False)


def _answers(answers: Sequence[Answer]) -> list[dict[str, Any]]:
    return [
        {
            "topic": str(answer.topic),
            "state": str(answer.state),
            "facts": [dict(facts) for facts in answer.facts],
            "findings": [_finding(found) for found in answer.findings],
        }
        for answer in answers
    ]


def _number(value: object) -> str | None:
    return None if value is None else str(value)


def _report(report: Report) -> dict[str, Any]:
    return {
        "findings": [_finding(found) for found in report],
        "unlisted": [
            {"rule": rule, "severity": severity.word, "count": count}
            for (rule, severity), count in report.unlisted.items()
        ],
        "skipped": [{"rule": skip.rule, "reason": skip.reason} for skip in report.skipped],
        "crashed": [{"rule": crash.rule, "error": crash.error} for crash in report.crashed],
        "counts": report.counts(),
    }


def _finding(found: Finding) -> dict[str, Any]:
    where = found.where
    return {
        "rule": found.rule,
        "severity": found.severity.word,
        "message": found.message,
        "file": where.file,
        "line": where.line,
        "column": where.column,
        "element": where.element,
        "id": where.id,
        "facts": dict(found.facts),
        "hint": found.hint,
        "fingerprint": found.fingerprint,
    }


def _comparison(compared: Comparison) -> dict[str, Any]:
    return {
        "equal": compared.equal,
        "largest_move_mm": compared.largest_move_mm,
        "hausdorff_mm": compared.hausdorff_mm,
        "common_shift": None,
        "differences": [
            {"kind": d.kind, "what": d.what, "where": d.where, "a": d.a, "b": d.b} for d in compared.differences
        ],
    }
