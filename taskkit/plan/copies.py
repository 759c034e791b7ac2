"""Blocks of a plan that were copied with their UUIDs: which ones, and a text in which each has its own."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID, uuid4, uuid5

from taskkit.plan.loading import name_path
from taskkit.plan.members import class_of_kind, members
from taskkit.plan.model import Plan, PlanObject, PlanValue
from taskkit.plan.splicing import Splices, is_flow
from taskkit.plan.yaml_text import Block, Listing, Node, Scalar, Text, in_style_of, read

__all__ = ["Renewed", "with_new_identities"]


@dataclass(frozen=True, slots=True)
class Renewed:
    """An object that has a UUID of its own now.

    Attributes:
        title: what it is, e.g. ``field Long Acre``.
        line: where it begins in the text as it was.
        other_line: where the one begins that keeps the UUID.
        old: the UUID that both had.
        new: the UUID that it has now.
    """

    title: str
    line: int
    other_line: int
    old: UUID
    new: UUID


def with_new_identities(
    text: str, *, path: Path | str | None = None, fresh: Callable[[], UUID] = uuid4
) -> tuple[str, tuple[Renewed, ...]]:
    """The text in which no two objects have one UUID, and what was changed for that.

    Of several with one UUID the first keeps it. The others get fresh ones: in the place of the UUID written there, or
    on a line of its own where it follows from the name. Where a copied block speaks of something in itself by UUID,
    it does so by the fresh one. No other byte changes; names stay as they are, also where two are the same.

    Args:
        text: the text of a plan.
        path: its file, for messages.
        fresh: gives a UUID that nothing has yet.

    Raises:
        InputError: the text is no YAML of a plan.
    """
    if text.startswith("\ufeff"):
        changed, renewed = with_new_identities(text[1:], path=path, fresh=fresh)
        return "\ufeff" + changed, renewed
    source = Text(text, path)
    root = read(source)
    return _Renewer(source, fresh).renewed(root) if isinstance(root, Block) else (text, ())


class _Renewer:
    def __init__(self, source: Text, fresh: Callable[[], UUID]) -> None:
        self._source = source
        self._fresh = fresh
        self._splices = Splices(source.text)
        self._seen: dict[str, Block] = {}
        self._renewed: list[Renewed] = []

    def renewed(self, root: Block) -> tuple[str, tuple[Renewed, ...]]:
        self._root = root.values.get("uuid")
        self._block(root, Plan, (), None)
        return self._splices.made(), tuple(self._renewed)

    def _block(self, block: Block, cls: type[PlanValue], path: tuple[str, ...], copied: dict[str, str] | None) -> None:
        """See to one block and what is in it; ``copied`` are the UUIDs renewed so far in the copy around it."""
        around = copied
        if issubclass(cls, PlanObject):
            if cls is not Plan:
                path = name_path(cls, (_known(block, cls, name) for name in cls.known_by), path)
            uuid = self._uuid(block, path)
            if uuid and self._seen.setdefault(uuid, block) is not block:
                copied = {} if copied is None else copied
                copied[uuid] = self._renew(block, cls, uuid)
        for member in members(cls):
            node = block.values.get(member.key)
            if node is None or not member.holds:
                continue
            for item in node.items if isinstance(node, Listing) else (node,):
                if isinstance(item, Block):
                    self._block(item, _class(member.holds, item), path, copied)
        if around is None and copied:
            for mention in _mentions(block):
                if new := copied.get(mention.text.lower()):
                    self._splices.replace(mention.start, mention.end, in_style_of(mention, new, new))

    def _uuid(self, block: Block, path: tuple[str, ...]) -> str | None:
        """The UUID of an object, written or following from its name; None where it is none."""
        node = block.values.get("uuid")
        if isinstance(node, Scalar) and not node.is_absent:
            return node.text.lower()
        try:
            return str(uuid5(UUID(self._root.text), "/".join(path))) if isinstance(self._root, Scalar) else None
        except ValueError:
            return None

    def _renew(self, block: Block, cls: type[PlanObject], old: str) -> str:
        new = str(self._fresh())
        node = block.values.get("uuid")
        if isinstance(node, Scalar) and not node.is_absent:
            self._splices.replace(node.start, node.end, in_style_of(node, new, new))
        elif node is not None:
            self._splices.replace_entry(block, "uuid", (f"uuid: {new}",))
        else:
            indent = "" if is_flow(self._source.text, block) else self._splices.indent(block)
            self._splices.change_entries(block, (), {0: [(f"{indent}uuid: {new}",)]})
        line, other = (self._source.place(one.start)[0] for one in (block, self._seen[old]))
        name = _known(block, cls, cls.known_by[0]) or ""
        with contextlib.suppress(ValueError):
            self._renewed.append(Renewed(f"{cls.word} {name}".rstrip(), line, other, UUID(old), UUID(new)))
        return new


def _known(block: Block, cls: type[PlanValue], name: str) -> str | None:
    node = block.values.get(name)
    if isinstance(node, Scalar) and not node.is_absent:
        return node.text
    field = cls.model_fields[name]
    return None if field.is_required() or field.default is None else str(field.default)


def _class(holds: tuple[type[PlanValue], ...], block: Block) -> type[PlanValue]:
    node = block.values.get("kind")
    try:
        return class_of_kind(holds, node.text if isinstance(node, Scalar) and not node.is_absent else None)
    except LookupError:
        return holds[0]


def _mentions(block: Block) -> Iterator[Scalar]:
    """All single values in a block but the UUIDs of its objects."""
    nodes: list[Node] = [block]
    while nodes:
        node = nodes.pop()
        if isinstance(node, Scalar):
            yield node
        elif isinstance(node, Listing):
            nodes += node.items
        else:
            nodes += [value for key, value in node.values.items() if key != "uuid"]
