"""A text of plan.yaml brought to another plan: only the bytes of what changed are changed."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

from taskkit.errors import InputError, RefusedError
from taskkit.plan.dumping import Dumper, text_of
from taskkit.plan.elsewhere import Resolver
from taskkit.plan.loading import plan_from
from taskkit.plan.members import Member, members
from taskkit.plan.model import FORMAT, Plan, PlanObject, PlanValue
from taskkit.plan.references import Around
from taskkit.plan.splicing import Splices, is_flow
from taskkit.plan.yaml_text import Block, Listing, Node, Scalar, Text, end_of, in_style_of, read

__all__ = ["rewrite"]


def rewrite(text: str, old: Plan, new: Plan, *, path: Path | str | None = None, resolve: Resolver | None = None) -> str:
    """The text of a plan, changed so that it gives another plan; comments, order and every other byte stay.

    Values are replaced in the author's style, keys and items put in and taken out. An object that would get another
    UUID by its new name gets a line with the one it had. A word that no longer means the object that it meant gives
    way to one that does. Where anything changes, the text says its format.

    Args:
        text: what gives ``old``.
        old: the plan before.
        new: the plan after.
        path: the file of the text, where it names others beside it.
        resolve: as for loading.

    Raises:
        RefusedError: it cannot be done without writing the plan anew: items changed places, or values stand in a
            sheet, or in the text something stands where nothing can be put beside it.
        InputError: the text cannot be read.
    """
    if text.startswith("\ufeff"):
        return "\ufeff" + rewrite(text[1:], old, new, path=path, resolve=resolve)
    root = read(Text(text, path))
    if not isinstance(root, Block):
        raise RefusedError("the text holds no plan that could be changed")
    try:
        changed = _Rewriter(text, new).changed(root, old)
        again = plan_from(Text(changed, path), resolve=resolve)
    except (InputError, LookupError, ValueError) as error:
        raise RefusedError(f"the plan cannot be changed in its place: {error}") from error
    if again != new and text_of(again) != text_of(new):
        raise RefusedError("the plan cannot be changed in its place; write it anew")
    return changed


_Inserted = dict[int, list[tuple[str, ...]]]


class _Rewriter:
    def __init__(self, text: str, plan: Plan) -> None:
        self._text = text
        self._plan = plan
        self._splices = Splices(text)
        self._dumper = Dumper(plan)

    def changed(self, root: Block, old: Plan) -> str:
        removed, inserted = self._block(root, old, self._plan, (), renamed=old.uuid != self._plan.uuid)
        if removed or inserted or not self._splices.are_none:
            node = root.values.get("format")
            if node is None:
                inserted.setdefault(0, []).insert(0, (f"format: {FORMAT}",))
            elif not isinstance(node, Scalar) or node.text != str(FORMAT):
                self._splices.replace_entry(root, "format", (f"format: {FORMAT}",))
            self._splices.change_entries(root, removed, inserted)
        return self._splices.made()

    def _block(
        self, block: Block, old: PlanValue, new: PlanValue, around: tuple[Around, ...], *, renamed: bool
    ) -> tuple[list[int], _Inserted]:
        """Change what stands in the entries of a block; which entries are to go, and which to be put in."""
        within = (*around, Around(new.word, new))
        if isinstance(new, PlanObject):
            renamed = renamed or any(getattr(old, name) != getattr(new, name) for name in new.known_by)
        flow = is_flow(self._text, block)
        keys = list(block.values)
        known = {member.key: member for member in members(type(new))}
        removed = [keys.index(m.key) for m in members(type(old)) if m.key in keys and m.key not in known]
        inserted: _Inserted = {}
        # What a file said about a shape is written down when the shape is no longer taken from there.
        uprooted = any(
            m.is_shape
            and isinstance(block.values.get(key), Block)
            and getattr(old, m.name, None) != getattr(new, m.name)
            for key, m in known.items()
        )
        place = 0
        for key, member in known.items():
            before, after = getattr(old, member.name, None), getattr(new, member.name)
            node = block.values.get(key)
            if node is not None:
                place = keys.index(key) + 1
            if after is None or after == ():
                if node is not None and before not in (None, ()):
                    removed.append(place - 1)
            elif node is None:
                # An object without a line for it has its UUID from its name, and keeps it under another.
                missing = before != after or (uprooted and after != member.default)
                if (renamed and around) if key == "uuid" else missing:
                    inserted.setdefault(place, []).append(self._entry(member, after, block, within))
            elif not self._inside(member, node, before, after, within, renamed=renamed, flow=flow):
                self._splices.replace_entry(block, key, self._entry(member, after, block, within))
        return removed, inserted

    def _entry(self, member: Member, value: Any, block: Block, within: tuple[Around, ...]) -> tuple[str, ...]:
        if is_flow(self._text, block):
            return (f"{member.key}: {self._dumper.inline(member, value, within, flow=True)}",)
        return tuple(self._dumper.entry(member, value, self._splices.indent(block), within))

    def _inside(
        self,
        member: Member,
        node: Node,
        before: Any,
        after: Any,
        within: tuple[Around, ...],
        *,
        renamed: bool,
        flow: bool,
    ) -> bool:
        """Change what stands in the value of an entry; False where another value is to be put in its place."""
        if member.many and member.holds:
            return self._items(member, node, before, after, within, renamed=renamed)
        if member.holds:
            if not isinstance(node, Block) or before is None:
                return False
            self._splices.change_entries(node, *self._block(node, before, after, within, renamed=renamed))
            return True
        if member.many:
            words = node.items if isinstance(node, Listing) else ()
            return len(words) == len(after) and all(
                isinstance(word, Scalar) and self._dumper.means(member, word.text, one, within)
                for word, one in zip(words, after, strict=True)
            )
        if member.reference:
            if isinstance(node, Scalar) and self._dumper.means(member, node.text, after, within):
                return True
        elif before is not None and self._is_same(member, before, after, within):
            return True
        if not isinstance(node, Scalar) or node.is_absent:
            return False
        end = end_of(self._text, node)
        written = self._dumper.inline(member, after, within, flow=flow)
        self._splices.replace(node.start, end, in_style_of(node, self._dumper.text(member, after, within), written))
        return True

    def _items(
        self, member: Member, node: Node, before: Any, after: Any, within: tuple[Around, ...], *, renamed: bool
    ) -> bool:
        """Change what stands in the items of a list."""
        if not isinstance(node, Listing):
            if before != after and before and isinstance(node, Block):
                message = f"the {member.title} stand in a sheet, and are not changed from here"
                raise RefusedError(message)
            return bool(before == after)
        pairs = _pairs(before, after)
        if not pairs:
            return False
        if sorted(pairs.values()) != list(pairs.values()):
            raise RefusedError(f"the {member.title} changed places; write the plan anew, or move them by hand")
        for one, other in pairs.items():
            item = node.items[one]
            assert isinstance(item, Block)
            self._splices.change_entries(item, *self._block(item, before[one], after[other], within, renamed=renamed))
        removed = [one for one in range(len(before)) if one not in pairs]
        kept = {other: one for one, other in pairs.items()}
        inserted: _Inserted = {}
        place = 0
        for other, item in enumerate(after):
            if other in kept:
                place = kept[other] + 1
            else:
                inserted.setdefault(place, []).append(self._item(item, node, within))
        self._splices.change_entries(node, removed, inserted)
        return True

    def _item(self, item: PlanValue, node: Listing, within: tuple[Around, ...]) -> tuple[str, ...]:
        if is_flow(self._text, node):
            return (self._dumper.flow(item, within),)
        return tuple(self._dumper.item(item, self._splices.indent(node), within))

    def _is_same(self, member: Member, before: Any, after: Any, within: tuple[Around, ...]) -> bool:
        if before == after:
            return True
        # Shapes are written with 9 decimals: what has more is the same text.
        return member.is_shape and self._dumper.text(member, before, within) == self._dumper.text(member, after, within)


def _pairs(before: Any, after: Any) -> dict[int, int]:
    """Which items are the same ones: by their UUID, or by what they are; changed ones in between by their order."""
    if isinstance(after[0], PlanObject):
        places = {one.uuid: place for place, one in enumerate(after)}
        return {place: places[one.uuid] for place, one in enumerate(before) if one.uuid in places}
    found: dict[int, int] = {}
    for _, start, end, other, last in difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        found |= dict(zip(range(start, end), range(other, last), strict=False))
    return found
