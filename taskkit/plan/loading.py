"""From the text of plan.yaml to a plan: every error with its line, its column and what to do about it."""

from __future__ import annotations

import functools
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4, uuid5

import pydantic

from taskkit.errors import InputError
from taskkit.geometry.frames import UNKNOWN
from taskkit.plan.disk import read_text
from taskkit.plan.elsewhere import Resolver, elsewhere, is_elsewhere, path_beside
from taskkit.plan.formats import brought_up
from taskkit.plan.members import Member, class_of_kind, members
from taskkit.plan.model import Plan, PlanObject, PlanValue
from taskkit.plan.references import Around, Directory, directory_for, holder_of, nearest
from taskkit.plan.scalars import Reference
from taskkit.plan.sheets import listing_from
from taskkit.plan.yaml_text import Block, Listing, Node, Scalar, Text, read

__all__ = ["name_path", "plan_from"]

_TOLD = 5
"""Problems told at once; the rest are counted."""

_GATHERED = 1000
"""Problems after which we stop looking for more."""

_MOST_BYTES_OF_SHEET = 16 << 20

Raw = dict[str, Any]
Remedy = str | Callable[[], str] | None


def plan_from(text: Text, *, resolve: Resolver | None = None) -> Plan:
    """The plan that a text describes, of the newest format or an older one.

    Scalars are text until the model gives them a type, so ``007`` and ``No`` stay what they are. Where an object has
    no ``uuid``, it gets UUIDv5(UUID of the plan, its name path): for each object from the outermost inwards its kind
    and what it is known by (name; purpose and season of a boundary), joined by slashes, e.g.
    ``field/Long Acre/line/Along the lane`` or ``field/Long Acre/boundary/worked``. Names are in Unicode's form NFC;
    in them ``~`` is written ``~0`` and ``/`` is written ``~1`` (as in RFC 6901). Such a UUID changes with the name.

    Args:
        text: what is read.
        resolve: fetches values that stand in a GIS file beside the plan.

    Raises:
        InputError: it is no plan that this program knows. The first few problems are told together.
    """
    root = read(text)
    if not isinstance(root, Block):
        raise text.error(root.start if root else 0, "this is no plan", "A plan begins with keys such as `name: ...`")
    return _Loader(text, brought_up(text, root), resolve).plan()


def name_path(cls: type[PlanObject], known_by: Iterable[object], around: tuple[str, ...]) -> tuple[str, ...]:
    """The name path of an object: that of the object around it, its kind, and what it is known by."""
    return (*around, cls.word, *(_escaped(str(word)) for word in known_by if word is not None))


@dataclass(frozen=True, slots=True)
class _Mention:
    """A word in the text that stands for an object."""

    holder: Any
    place: Any
    key: str
    reference: Reference
    node: Scalar
    around: tuple[Around, ...]

    @property
    def word(self) -> str:
        return str(self.holder[self.place])


class _Loader:
    """Reads one plan; problems are gathered, so that several can be told at once."""

    def __init__(self, text: Text, root: Block, resolve: Resolver | None) -> None:
        self._text = text
        self._root = root
        self._resolver = resolve
        self._problems: dict[tuple[int, str], Remedy] = {}
        self._mentions: list[_Mention] = []
        self._objects: dict[str, tuple[str, Block, Raw]] = {}
        self._plan_uuid = self._uuid_of_plan()

    def plan(self) -> Plan:
        raw = self._block(self._root, Plan, (), ())
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

    def _block(self, block: Block, cls: type[PlanValue], path: tuple[str, ...], around: tuple[Around, ...]) -> Raw:
        known = {member.key: member for member in members(cls)}
        raw: Raw = {}
        around = (*around, Around(cls.word, raw))
        inner: list[tuple[Member, Node]] = []
        for key, node in block.values.items():
            if key not in known:
                like = nearest(key, known)
                remedy = f"Did you mean `{like}`" if like else f"A {cls.word} has {_joined(known)}"
                self._problem(block.keys[key], f"a {cls.word} has no `{key[:60]}`", remedy)
            elif (member := known[key]).holds:
                inner.append((member, node))
            elif member.fixed:
                raw[key] = member.default
                if not isinstance(node, Scalar):
                    self._problem(node, f"`{key}` takes one single value", "Write it after the colon")
            elif member.many:
                self._words(raw, member, node, around)
            else:
                self._value(raw, member, node, around, frozenset(known))
        if issubclass(cls, PlanObject):
            path = self._identify(raw, block, cls, path)
        for member, node in inner:
            self._inner(raw, member, node, path, around)
        return raw

    def _value(self, raw: Raw, member: Member, node: Node, around: tuple[Around, ...], known: frozenset[str]) -> None:
        if member.from_file and isinstance(node, Block) and is_elsewhere(node):
            self._fetch(raw, member, node, known)
        elif not isinstance(node, Scalar):
            self._problem(node, f"`{member.key}` takes one single value", "Write it after the colon")
        elif node.is_absent and (not member.required or not node.text):
            if member.required:
                self._problem(node, f"`{member.key}` has no value")
        else:
            raw[member.key] = node.text
            if member.reference:
                self._mentions.append(_Mention(raw, member.key, member.key, member.reference, node, around))

    def _words(self, raw: Raw, member: Member, node: Node, around: tuple[Around, ...]) -> None:
        if isinstance(node, Scalar) and node.is_absent and not member.required:
            return
        if not isinstance(node, Listing):
            self._problem(node, f"`{member.key}` takes a list", "Write `[one, another]`")
            return
        raw[member.key] = words = []
        for item in node.items:
            if not isinstance(item, Scalar) or item.is_absent:
                self._problem(item, f"`{member.key}` takes single values", "Write `[one, another]`")
                continue
            words.append(item.text)
            if member.reference:
                place = len(words) - 1
                self._mentions.append(_Mention(words, place, member.key, member.reference, item, around))

    def _fetch(self, raw: Raw, member: Member, node: Block, known: frozenset[str]) -> None:
        """Take a value from the file in which it stands."""
        frame = self._root.values.get("steering_frame")
        known_frame = frame.text if isinstance(frame, Scalar) and not frame.is_absent else UNKNOWN
        meant, unit = elsewhere(self._text, node, shape=member.is_shape, frame=known_frame)
        if self._resolver is None:
            self._problem(node, f"`{member.key}` stands in {meant.file.name}, which is not read here")
            return
        try:
            found = self._resolver(meant)
        except InputError as error:
            self._problem(node, f"`{member.key}` cannot be taken from {meant.file.name}: {error.message}", error.remedy)
            return
        raw[member.key] = f"{found.text} {unit}" if unit else found.text
        # What a file says of a shape is said of the whole object only where the object is that shape.
        for key in known & found.about.keys() if member.required else ():
            raw.setdefault(key, found.about[key])

    def _sheet(self, member: Member, node: Block) -> Listing | None:
        """The objects in a sheet, as if they stood here."""
        name = node.values["sheet"]
        if len(node.values) > 1 or not isinstance(name, Scalar) or name.is_absent:
            self._problem(node, f"`{member.key}` takes a list or one sheet", f"Write `{member.key}: {{sheet: FILE}}`")
            return None
        file = path_beside(self._text, name, name.text)
        text = read_text(file, most_bytes=_MOST_BYTES_OF_SHEET)
        if text is None:
            self._problem(name, f"there is no file {name.text[:60]!r} beside the plan", "Put it there")
            return None
        sheet = Text(text, file)
        return listing_from(sheet, member.holds[0], offset=self._text.annex(sheet))

    def _inner(self, raw: Raw, member: Member, node: Node, path: tuple[str, ...], around: tuple[Around, ...]) -> None:
        if isinstance(node, Scalar) and node.is_absent and not member.required:
            return
        if not member.many:
            if isinstance(node, Block):
                raw[member.key] = self._block(node, member.holds[0], path, around)
            else:
                keys = _joined(m.key for m in members(member.holds[0]))
                remedy = f"Write them in braces, such as `{member.key}: {{{members(member.holds[0])[0].key}: ...}}`"
                self._problem(node, f"`{member.key}` takes {keys}", remedy)
            return
        if member.from_sheet and isinstance(node, Block) and "sheet" in node.values:
            listing = self._sheet(member, node)
            if listing is None:
                return
            node = self._root.values[member.key] = listing
        if not isinstance(node, Listing):
            self._problem(node, f"`{member.key}` takes a list", "Begin each item with a dash")
            return
        raw[member.key] = items = []
        for item in node.items:
            if not isinstance(item, Block):
                self._problem(item, f"a {member.holds[0].word} is expected here", "Write `- key: value`")
            elif cls := self._class(member, item):
                items.append(self._block(item, cls, path, around))

    def _class(self, member: Member, item: Block) -> type[PlanValue] | None:
        node = item.values.get("kind")
        kind = node.text if isinstance(node, Scalar) and not node.is_absent else None
        try:
            return class_of_kind(member.holds, kind)
        except LookupError as kinds:
            assert node
            self._problem(node, f"`kind` is {str(kind)[:60]!r}, but only {kinds} will do")
            return None

    def _identify(self, raw: Raw, block: Block, cls: type[PlanObject], path: tuple[str, ...]) -> tuple[str, ...]:
        """Give the object a UUID where it has none, and see that no other has it; its name path."""
        if cls is not Plan:
            defaults = {name: field.default for name, field in cls.model_fields.items() if not field.is_required()}
            path = name_path(cls, (raw.get(name, defaults.get(name)) for name in cls.known_by), path)
        derived = "uuid" not in raw
        if derived:
            raw["uuid"] = str(uuid5(self._plan_uuid, "/".join(path)))
        raw["uuid"] = raw["uuid"].lower()
        title = f"the {cls.word} {raw.get('name', '')[:60]}".rstrip()
        other, place, _ = self._objects.setdefault(raw["uuid"], (title, block, raw))
        if place is not block:
            there = f"{other} in {self._text.line(place.start)}"
            if derived:
                message = (
                    f"{title} cannot be told from {there}: no UUID, and the name path {'/'.join(path)[:120]} twice"
                )
                self._problem(block, message, f"Give it another name, or a line such as `uuid: {uuid4()}`")
            else:
                remedy = "Give one of them another, as `taskkit edit PLAN --new-identity` does"
                self._problem(block.values["uuid"], f"{title} has the UUID of {there}", remedy)
        return path

    def _resolve(self, plan: Raw) -> None:
        """Put UUIDs in the place of words; first of those that help to understand others."""
        directories: dict[tuple[str, int], Directory] = {}
        waiting = sorted(self._mentions, key=lambda mention: mention.reference.of is not None)
        while waiting:
            later = {(id(m.holder), m.place) for m in waiting}
            postponed = []
            for mention in waiting:
                reference = mention.reference
                if reference.of and any((id(one.node), reference.of) in later for one in mention.around):
                    postponed.append(mention)
                    continue
                holder = holder_of(reference, mention.around, dict.get, self._object)
                if holder is None:
                    self._alone(mention)
                    continue
                key = (reference.collection, id(holder))
                if key not in directories:
                    directories[key] = directory_for(reference, holder, plan, dict.get)
                self._understand(mention, directories[key], holder if reference.of else None)
            if len(postponed) == len(waiting):
                return
            waiting = postponed

    def _alone(self, mention: _Mention) -> None:
        """What is to be understood by another reference has none beside it; one that means nothing was told before."""
        word = str(mention.reference.of)
        if not any(word in one.node for one in mention.around):
            message = f"`{mention.key}` {mention.word[:60]!r} cannot be understood without `{word}`"
            self._problem(mention.node, message, f"Name the {word} too")

    def _object(self, uuid: str) -> Raw | None:
        found = self._objects.get(uuid)
        return found[2] if found else None

    def _understand(self, mention: _Mention, directory: Directory, holder: Raw | None) -> None:
        word, collection = mention.word, mention.reference.collection
        found = directory.find(word)
        if len(found) == 1:
            mention.holder[mention.place] = found[0]
        elif found:
            message = f"`{mention.key}` {word[:60]!r} means {len(found)} objects"
            self._problem(mention.node, message, "Write the UUID")
        else:
            whose = "the plan" if holder is None else self._objects[holder["uuid"]][0]
            message = f"`{mention.key}` names {word[:60]!r}, which {whose} has not"
            self._problem(mention.node, message, functools.partial(_other_word, word, directory, collection))

    def _place(self, loc: Sequence[str | int]) -> tuple[Node, str]:
        """The node at the place that pydantic names, or the nearest around it; and its key."""
        node: Node = self._root
        key = ""
        for step in loc:
            if isinstance(step, str):
                if step.startswith("="):  # the tag of one kind among several
                    continue
                key = step
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
        also = "".join(f"; {self._text.line(at)}: {said}" for at, said in others[: _TOLD - 1])
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
