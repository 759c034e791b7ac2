"""Objects of the plan from a sheet (CSV): one row an object, and one more row for each further thing that it holds."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from taskkit.plan.base import PlanValue
from taskkit.plan.members import members
from taskkit.plan.references import nearest
from taskkit.plan.yaml_text import Block, Listing, Node, Scalar, Text

__all__ = ["columns", "listing_from"]

_MOST_CELLS = 1_000_000


@dataclass(frozen=True, slots=True)
class _Column:
    holder: str | None
    key: str
    many: bool


def columns(cls: type[PlanValue]) -> tuple[str, ...]:
    """The columns that a sheet of such objects may have: its keys, and the keys of what it holds after their word.

    >>> from taskkit.plan.model import Machine
    >>> [name for name in columns(Machine) if name in ("name", "tool_working_width", "tractor_turning_radius")]
    ['name', 'tractor_turning_radius', 'tool_working_width']
    """
    return tuple(_columns(cls))


def listing_from(sheet: Text, cls: type[PlanValue], *, offset: int = 0) -> Listing:
    """The objects in a sheet, as if they stood in the plan.

    The first row names the columns (see ``columns``; blanks for underscores and capitals are taken), the others have a
    value a cell, each with its unit as in the plan: ``6 m``. Cells are parted by commas, semicolons or tabs, and may
    stand in double quotes. A row whose ``name`` is empty, or the same as above, gives one more of what an object holds
    several of: another tool on the machine above.

    Args:
        sheet: the text.
        cls: what its rows are about.
        offset: what is added to the places of the nodes.

    Raises:
        InputError: a column is unknown or there twice, a row has too many cells, a quote is left open, or a row that
            goes on with an object gives what belongs into its first row.
    """
    rows = list(_rows(sheet, offset))
    if not rows:
        raise sheet.error(0, "the sheet is empty", f"Begin it with the names of its columns: {columns(cls)[1]}, ...")
    header, *body = rows
    known = _columns(cls)
    named: list[_Column] = []
    for cell in header:
        name = re.sub(r"\s+", "_", cell.text.strip()).lower()
        if name not in known:
            like = nearest(name, known)
            remedy = f"Did you mean {like!r}" if like else f"Columns are {', '.join(known)}"
            raise sheet.error(cell.start - offset, f"there is no column {cell.text[:60]!r} for a {cls.word}", remedy)
        if known[name] in named:
            raise sheet.error(cell.start - offset, f"the column {name!r} is there twice", "Keep one of them")
        named.append(known[name])
    items: list[Block] = []
    last = ""
    for row in body:
        if len(row) > len(named):
            message = f"the row has {len(row)} cells, and there are {len(named)} columns"
            remedy = "Put a cell with the mark between cells in it into double quotes"
            raise sheet.error(row[len(named)].start - offset, message, remedy)
        given = [(column, key, cell) for column, key, cell in zip(named, header, row, strict=False) if cell.text]
        name = next((cell.text for column, _, cell in given if column == _Column(None, "name", False)), "")
        if items and name in ("", last):
            _go_on(sheet, items[-1], given, offset)
        else:
            items.append(_first(row, given))
            last = name
    return Listing(offset, offset + len(sheet.text), tuple(items))


_Given = list[tuple[_Column, Scalar, Scalar]]


def _first(row: list[Scalar], given: _Given) -> Block:
    block = Block(row[0].start, row[-1].end, {}, {})
    for column, key, cell in given:
        if column.holder is None:
            block.keys[column.key], block.values[column.key] = key, cell
    for holder in dict.fromkeys(column.holder for column, _, _ in given if column.holder):
        inner = [one for one in given if one[0].holder == holder]
        held: Node = _held(inner)
        block.keys[holder] = inner[0][1]
        block.values[holder] = Listing(held.start, held.end, (held,)) if inner[0][0].many else held
    return block


def _held(inner: _Given) -> Block:
    keys = {column.key: key for column, key, _ in inner}
    return Block(inner[0][2].start, inner[-1][2].end, keys, {column.key: cell for column, _, cell in inner})


def _go_on(sheet: Text, block: Block, given: _Given, offset: int) -> None:
    for column, key, cell in given:
        if not column.many and (column.holder, column.key) != (None, "name"):
            message = f"{key.text.strip()!r} belongs into the first row of {_name(block)}"
            raise sheet.error(cell.start - offset, message, "Leave the cell empty, or give the row a name of its own")
    for holder in dict.fromkeys(column.holder for column, _, _ in given if column.holder):
        inner = [one for one in given if one[0].holder == holder]
        held = _held(inner)
        before = block.values.get(holder)
        items = before.items if isinstance(before, Listing) else ()
        block.keys.setdefault(holder, inner[0][1])
        block.values[holder] = Listing(items[0].start if items else held.start, held.end, (*items, held))


def _name(block: Block) -> str:
    node = block.values.get("name")
    return repr(node.text[:60]) if isinstance(node, Scalar) else "the object above"


def _columns(cls: type[PlanValue]) -> dict[str, _Column]:
    known: dict[str, _Column] = {}
    for member in members(cls):
        if not member.holds:
            known[member.key] = _Column(None, member.key, False)
            continue
        for inner in members(member.holds[0]):
            known[f"{member.holds[0].word.replace(' ', '_')}_{inner.key}"] = _Column(member.key, inner.key, member.many)
    return known


def _rows(sheet: Text, offset: int) -> Iterator[list[Scalar]]:
    """The rows that have anything in them, cell by cell."""
    text = sheet.text
    first = re.sub(r'"[^"]*"?', "", text.partition("\n")[0])
    mark = max(",;\t", key=first.count)
    cell = re.compile(rf'[ ]*"(?P<quoted>(?:[^"]|"")*)"[ ]*(?={mark}|\r?\n|\r?\Z)|(?P<plain>[^{mark}\r\n]*)')
    at, cells, row = 0, 0, list[Scalar]()
    while at <= len(text):
        found = cell.match(text, at)
        assert found
        quoted = found["quoted"]
        plain = (found["plain"] or "").strip()
        if quoted is None and plain.startswith('"'):
            raise sheet.error(at, "a double quote is left open, or something follows one", "Close it, or double it")
        row.append(
            Scalar(offset + at, offset + found.end(), plain if quoted is None else quoted.replace('""', '"'), "'")
        )
        cells += 1
        if cells > _MOST_CELLS:
            raise sheet.error(at, f"the sheet has more than {_MOST_CELLS:,} cells", unsafe=True)
        at = found.end()
        if text.startswith(mark, at):
            at += 1
            continue
        at += 2 if text.startswith("\r\n", at) else 1
        if any(one.text for one in row):
            yield row
        row = []
