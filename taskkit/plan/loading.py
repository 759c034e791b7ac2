"""From the text of plan.yaml to a plan: every error with its line, its column and what to do about it."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from typing import Any
from uuid import UUID, uuid4, uuid5

import pydantic

from taskkit.plan.members import Member, members
from taskkit.plan.model import FORMAT, Plan, PlanObject, PlanValue
from taskkit.plan.references import Directory, nearest
from taskkit.plan.yaml_text import Block, Listing, Node, Scalar, Text, read

__all__ = ["plan_from"]

_TOLD = 5
"""Problems told at once; the rest are counted."""

_GATHERED = 1000
"""Problems after which we stop looking for more."""

Raw = dict[str, Any]
Remedy = str | Callable[[], str] | None


def plan_from(text: Text) -> Plan:
    """The plan that a text describes.

    Scalars are text until the model gives them a type, so ``007`` and ``No`` stay what they are. Where an object has
    no ``uuid``, it gets UUIDv5(UUID of the plan, its name path): for each object from the outermost inwards its kind
    and what it is known by (name; purpose and season of a boundary), joined by slashes, e.g.
    ``field/Long Acre/line/Along the lane`` or ``field/Long Acre/boundary/worked``. Names are in Unicode's form NFC;
    in them ``~`` is written ``~0`` and ``/`` is written ``~1`` (as in RFC 6901). Such a UUID changes with the name.

    Raises:
        InputError: it is no plan that this program knows. The first few problems are told together.
    """
    root = read(text)
    if not isinstance(root, Block):
        raise text.error(root.start if root else 0, "this is no plan", "A plan begins with keys such as `name: ...`")
    _check_format(text, root)
    return _Loader(text, root).plan()


def _check_format(text: Text, root: Block) -> None:
    node = root.values.get("format")
    if not isinstance(node, Scalar) or node.is_absent:
        return
    if not re.fullmatch(r"[1-9][0-9]{0,8}", node.text):
        raise text.error(node.start, f"{node.text[:60]!r} is no form of plan", f"Write `format: {FORMAT}`")
    if int(node.text) > FORMAT:
        message = f"the plan has format {node.text}, and this program knows none newer than {FORMAT}"
        raise text.error(node.start, message, "Use a newer version of taskkit")


class _Loader:
    """Reads one plan; problems are gathered, so that several can be told at once."""

    def __init__(self, text: Text, root: Block) -> None:
        self._text = text
        self._root = root
        self._problems: dict[tuple[int, str], Remedy] = {}
        self._references: list[tuple[Raw, Member, Scalar]] = []
        self._objects: dict[str, tuple[str, Block]] = {}
        self._plan_uuid = self._uuid_of_plan()

    def plan(self) -> Plan:
        raw = self._block(self._root, Plan, ())
        self._resolve(raw)
        self._tell()
        try:
            return Plan.model_validate(raw)
        except pydantic.ValidationError as refusal:
            for error in refusal.errors(include_url=False):
                node, key = self._place(error["loc"])
                self._problem(node, f"`{key}` {_said(error)}" if key else _said(error))
        self._tell()
        raise AssertionError("a refusal without a problem")

    def _uuid_of_plan(self) -> UUID:
        node = self._root.values.get("uuid")
        fresh = f"Write a line of its own for this plan, for example `uuid: {uuid4()}`"
        if not isinstance(node, Scalar) or node.is_absent:
            raise self._text.error(self._root.start if node is None else node.start, "the plan has no UUID", fresh)
        try:
            return Plan.model_validate({"uuid": node.text, "name": ""}).uuid
        except pydantic.ValidationError as refusal:
            message = f"`uuid` {_said(refusal.errors(include_url=False)[0])}"
            raise self._text.error(node.start, message, fresh) from None

    def _block(self, block: Block, cls: type[PlanValue], path: tuple[str, ...]) -> Raw:
        known = {member.key: member for member in members(cls)}
        raw: Raw = {}
        inner: list[tuple[Member, Node]] = []
        for key, node in block.values.items():
            if key not in known:
                like = nearest(key, known)
                remedy = f"Did you mean `{like}`" if like else f"A {cls.word} has {_joined(known)}"
                self._problem(block.keys[key], f"a {cls.word} has no `{key[:60]}`", remedy)
            elif (member := known[key]).holds:
                inner.append((member, node))
            elif not isinstance(node, Scalar):
                self._problem(node, f"`{key}` takes one single value", "Write it after the colon")
            elif node.is_absent and (not member.required or not node.text):
                if member.required:
                    self._problem(node, f"`{key}` has no value")
            else:
                raw[key] = node.text
                if member.refers_to:
                    self._references.append((raw, member, node))
        if issubclass(cls, PlanObject):
            path = self._identify(raw, block, cls, path)
        for member, node in inner:
            self._inner(raw, member, node, path)
        return raw

    def _inner(self, raw: Raw, member: Member, node: Node, path: tuple[str, ...]) -> None:
        assert member.holds
        if isinstance(node, Scalar) and node.is_absent and not member.required:
            return
        if not member.many:
            if isinstance(node, Block):
                raw[member.key] = self._block(node, member.holds, path)
            else:
                keys = _joined(m.key for m in members(member.holds))
                self._problem(node, f"`{member.key}` takes {keys}", "Write them as `key: value`")
        elif isinstance(node, Listing):
            raw[member.key] = items = []
            for item in node.items:
                if isinstance(item, Block):
                    items.append(self._block(item, member.holds, path))
                else:
                    self._problem(item, f"a {member.holds.word} is expected here", "Write `- key: value`")
        else:
            self._problem(node, f"`{member.key}` takes a list", "Begin each item with a dash")

    def _identify(self, raw: Raw, block: Block, cls: type[PlanObject], path: tuple[str, ...]) -> tuple[str, ...]:
        """Give the object a UUID where it has none, and see that no other has it; its name path."""
        if cls is not Plan:
            defaults = {name: field.default for name, field in cls.model_fields.items() if not field.is_required()}
            known_by = [raw.get(name, defaults.get(name)) for name in cls.known_by]
            path = (*path, cls.word, *(_escaped(str(word)) for word in known_by if word is not None))
        derived = "uuid" not in raw
        if derived:
            raw["uuid"] = str(uuid5(self._plan_uuid, "/".join(path)))
        uuid = raw["uuid"].lower()
        title = f"the {cls.word} {raw.get('name', '')[:60]}".rstrip()
        other, place = self._objects.setdefault(uuid, (title, block))
        if place is not block:
            there = f"{other} in line {self._text.place(place.start)[0]}"
            if derived:
                message = (
                    f"{title} cannot be told from {there}: no UUID, and the name path {'/'.join(path)[:120]} twice"
                )
                self._problem(block, message, f"Give it another name, or a line such as `uuid: {uuid4()}`")
            else:
                self._problem(block.values["uuid"], f"{title} has the UUID of {there}", "Give one of them another")
        return path

    def _resolve(self, plan: Raw) -> None:
        directories: dict[str, Directory] = {}
        for raw, member, node in self._references:
            assert member.refers_to
            if member.refers_to not in directories:
                objects = plan.get(member.refers_to, ())
                directories[member.refers_to] = Directory((o["uuid"], o.get("code"), o.get("name")) for o in objects)
            directory, word = directories[member.refers_to], raw[member.key]
            found = directory.find(word)
            if len(found) == 1:
                raw[member.key] = found[0]
            elif found:
                self._problem(node, f"`{member.key}` {word[:60]!r} means {len(found)} objects", "Write the UUID")
            else:
                message = f"`{member.key}` names {word[:60]!r}, which the plan has not"
                self._problem(node, message, functools.partial(_other_word, word, directory, member.refers_to))

    def _place(self, loc: Sequence[str | int]) -> tuple[Node, str]:
        """The node at the place that pydantic names, or the nearest around it; and its key."""
        node: Node = self._root
        key = ""
        for step in loc:
            key = step if isinstance(step, str) else key
            if isinstance(node, Block) and step in node.values:
                node = node.values[str(step)]
            elif isinstance(node, Listing) and isinstance(step, int):
                node = node.items[step]
        return node, key

    def _problem(self, node: Node, message: str, remedy: Remedy = None) -> None:
        self._problems.setdefault((node.start, message), remedy)
        if len(self._problems) >= _GATHERED:
            self._tell()

    def _tell(self) -> None:
        if not self._problems:
            return
        (at, message), *others = sorted(self._problems)
        remedy = self._problems[at, message]
        also = "".join(f"; line {self._text.place(at)[0]}: {said}" for at, said in others[: _TOLD - 1])
        more = f"; and {len(others) + 1 - _TOLD} more" if len(others) >= _TOLD else ""
        raise self._text.error(at, f"{message}{also}{more}", remedy() if callable(remedy) else remedy)


def _said(error: Any) -> str:
    """A refusal of the model in our words; the key stands before it."""
    kind, context = error["type"], error.get("ctx", {})
    if kind == "missing":
        return "is missing"
    if kind == "value_error":
        return f"cannot be taken: {context['error']}"
    if kind == "enum":
        return f"is {error['input'][:60]!r}, but only {context['expected']} will do"
    message: str = error["msg"]
    return f"cannot be taken: {message[0].lower()}{message[1:]}"


def _other_word(word: str, directory: Directory, collection: str) -> str:
    like = nearest(word, directory.words())
    return f"Did you mean {like!r}" if like else f"Add it under `{collection}`"


def _escaped(word: str) -> str:
    return unicodedata.normalize("NFC", word).replace("~", "~0").replace("/", "~1")


def _joined(words: Iterable[str]) -> str:
    return ", ".join(f"`{word}`" for word in words)
