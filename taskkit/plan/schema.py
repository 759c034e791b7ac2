"""The JSON Schema of plan.yaml, by which editors complete and check it; derived from the model.

``python -m taskkit.plan.schema`` writes it to schemas/json/plan.schema.json; with ``--check`` it only says, by exit
status 1, that the file differs.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any

from taskkit.plan.model import FORMAT, Plan
from taskkit.shipped import schema_file

__all__ = ["plan_schema", "run"]


_UNSAID = "straight"
"""The kind of a line that does not say which it is."""

_FORMAT = {
    "type": ["integer", "null"],
    "minimum": 1,
    "maximum": FORMAT,
    "title": "format",
    "description": f"Form of this file; the newest is {FORMAT}.",
}


def plan_schema() -> str:
    """The schema (JSON Schema 2020-12) as text.

    It describes the file, not the model: only the plan itself needs a UUID, references are words, an outline is the
    key ``area`` with WKT text. Every key that may be missing may be empty too.
    """
    schema = Plan.model_json_schema(by_alias=True)
    for inner in schema["$defs"].values():
        if "uuid" in inner.get("required", ()):
            inner["required"].remove("uuid")
    for inner in schema["$defs"].values():
        # Of the kinds of a thing only that which needs no word may leave it out.
        kind = inner.get("properties", {}).get("kind", {})
        if kind.get("const", _UNSAID) != _UNSAID:
            inner.setdefault("required", []).append("kind")
    for table in (schema, *schema["$defs"].values()):
        table["description"] = table["description"].partition("\n\n")[0]
        required = table.get("required", ())
        table["properties"] = {
            key: value if key in required else _or_nothing(value) for key, value in table.get("properties", {}).items()
        }
        if not table["properties"]:
            del table["properties"]
    schema["properties"] = {"format": _FORMAT} | schema["properties"]
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    return json.dumps(head | schema | {"title": "A plan"}, indent=2, ensure_ascii=False) + "\n"


def _or_nothing(value: dict[str, Any]) -> dict[str, Any]:
    """A key whose value may be left empty."""
    value.pop("default", None)
    if "anyOf" in value:
        return value if _takes_nothing(value) else value | {"anyOf": [*value["anyOf"], {"type": "null"}]}
    if kind := value.get("type"):
        kinds = [kind] if isinstance(kind, str) else kind
        return value | {"type": [*kinds, *(["null"] if "null" not in kinds else [])]}
    about = {key: value.pop(key) for key in ("title", "description") if key in value}
    return {"anyOf": [value, {"type": "null"}]} | about


def _takes_nothing(value: dict[str, Any]) -> bool:
    return "null" in value.get("type", ()) or any(map(_takes_nothing, value.get("anyOf", ())))


def run(arguments: Sequence[str]) -> int:
    """Write the schema, or with ``--check`` compare it; the exit status."""
    file = schema_file("json") / "plan.schema.json"
    if "--check" in arguments:
        return int(not file.exists() or file.read_text(encoding="utf-8") != plan_schema())
    file.write_text(plan_schema(), encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
