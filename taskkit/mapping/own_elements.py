"""Values of the plan as elements of our own, and back: one attribute for each plain member, one child for each other.

Quantities are in metres, metres a second and seconds, and the attribute says so (``depth_m``); a list is an element
of the member's name around its items.
"""

from __future__ import annotations

import functools
import re
import typing
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Any, TypeVar

import pydantic

from taskkit.errors import RefusedError
from taskkit.plan.base import PlanValue
from taskkit.plan.members import Member, members
from taskkit.plan.model import DepthWord, Passes
from taskkit.plan.quantities import Duration, Length, Speed
from taskkit.taskdata.document import Element
from taskkit.taskdata.writer import DECIMALS

__all__ = ["element_of", "reason", "value_members", "value_of"]

_Value = TypeVar("_Value", bound=PlanValue)

_DECIMAL = re.compile(r"-?[0-9]{1,12}(\.[0-9]{1,30})?")
_TWICE = "{} stands there twice"
_ITEM: Mapping[str, str] = MappingProxyType(
    {
        "entering": "step",
        "islands": "island",
        "leaving": "step",
        "lines": "line",
        "row_ends": "row_end",
        "sides": "side",
        "tools": "tool",
    }
)
"""What an item of a list is called."""


def element_of(value: PlanValue, tag: str) -> Element:
    """A value as an element; members that are absent are left out.

    Raises:
        RefusedError: a quantity is beyond all measure.
    """
    element = Element(tag)
    children: list[Element] = []
    for form in _forms(type(value)):
        member, held = form.member, getattr(value, form.member.name)
        if held is None or (member.many and not held):
            continue
        if not member.holds:
            element.attributes[form.name] = form.write(held)
        elif member.many:
            wrap = Element(form.name)
            for item in held:
                wrap.add(element_of(item, _ITEM[form.name]))
            children.append(wrap)
        else:
            children.append(element_of(held, form.name))
    for child in children:
        element.add(child)
    return element


def value_of(element: Element, cls: type[_Value]) -> _Value:
    """The value that an element stands for.

    Raises:
        ValueError: it has something that is not known here, or a value that the model refuses.
    """
    found: dict[str, Any] = {}
    for name, read in _read_each(element, cls):
        if name in found:
            raise ValueError(_TWICE.format(name.replace("_", " ")))
        found[name] = read()
    return cls.model_validate(found)


def value_members(element: Element, cls: type[PlanValue]) -> tuple[dict[str, Any], list[str]]:
    """The members that an element gives, each by itself, and what is wrong with those that are left out."""
    found: dict[str, Any] = {}
    wrong: list[str] = []
    for name, read in _read_each(element, cls):
        try:
            if name in found:
                raise ValueError(_TWICE.format(name.replace("_", " ")))
            # The whole value is made for every member, because a class and no member judges.
            found[name] = getattr(cls.model_validate({name: read()}), name)
        except ValueError as error:
            wrong.append(reason(error))
    return found, wrong


def reason(error: Exception) -> str:
    """An error in a few words, without a closing full stop."""
    if isinstance(error, pydantic.ValidationError):
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        return f"{place}: {first['msg']}" if place else str(first["msg"])
    return str(error).rstrip(".")


@dataclass(frozen=True, slots=True)
class _Form:
    """How a member is written: the name of its attribute or child, and a plain value as text and back."""

    member: Member
    name: str
    write: Callable[[Any], str]
    read: Callable[[str], Any]


@functools.cache
def _forms(cls: type[PlanValue]) -> tuple[_Form, ...]:
    return tuple(_form(member, _classes(cls.model_fields[member.name].annotation)) for member in members(cls))


def _form(member: Member, classes: frozenset[Any]) -> _Form:
    if DepthWord in classes:
        return _Form(member, member.key, _depth, str)
    for quantity, unit in ((Length, "m"), (Speed, "m_per_s"), (Duration, "s")):
        if quantity in classes:
            return _Form(member, f"{member.key}_{unit}", _magnitude, functools.partial(_quantity, quantity))
    if bool in classes:
        return _Form(member, member.key, lambda value: "yes" if value else "no", str)
    if float in classes:
        return _Form(member, member.key, lambda degrees: f"{round(degrees, DECIMALS) + 0.0:.{DECIMALS}f}", str)
    if member.many:
        return _Form(member, member.key, lambda items: " ".join(map(str, items)), str.split)
    return _Form(member, member.key, str, str)


def _classes(annotation: Any) -> frozenset[Any]:
    return frozenset([annotation]).union(*map(_classes, typing.get_args(annotation)))


def _read_each(element: Element, cls: type[PlanValue]) -> Iterator[tuple[str, Callable[[], Any]]]:
    """The name of each member that an element gives, and what reads it, or complains: what is not known here does."""
    forms = {form.name: form for form in _forms(cls)}
    for name, text in element.attributes.items():
        form = forms.get(name)
        if form is None or form.member.holds:
            yield name, functools.partial(_complain, f"the attribute {name[:40]!r} is not known here")
        else:
            yield form.member.name, functools.partial(form.read, text)
    for child in element.elements():
        form = forms.get(child.tag)
        if form is None or not form.member.holds:
            yield child.tag, functools.partial(_complain, f"{child.tag[:40]!r} does not belong there")
        else:
            yield form.member.name, functools.partial(_held, child, form.member)


def _complain(problem: str) -> None:
    raise ValueError(problem)


def _held(element: Element, member: Member) -> Any:
    if not member.many:
        return value_of(element, member.holds[0])
    if element.attributes:
        _complain(f"the attribute {next(iter(element.attributes))[:40]!r} is not known here")
    items = list(element.elements())
    if strange := [item.tag for item in items if item.tag != _ITEM[element.tag]]:
        raise ValueError(f"{strange[0][:40]!r} is no {_ITEM[element.tag].replace('_', ' ')}")
    return tuple(value_of(item, member.holds[0]) for item in items)


def _magnitude(quantity: Length | Speed | Duration) -> str:
    """The shortest decimal, without an exponent, that gives this float."""
    match quantity:
        case Length():
            si = quantity.metres
        case Speed():
            si = quantity.metres_per_second
        case Duration():
            si = quantity.seconds
    text = f"{Decimal(repr(si)).normalize() + 0:f}"
    if not _DECIMAL.fullmatch(text):
        raise RefusedError(f"{quantity} is too great or too small to be meant; nothing was written")
    return text


def _quantity(cls: type[Length] | type[Speed] | type[Duration], text: str) -> Length | Speed | Duration:
    if not _DECIMAL.fullmatch(text):
        raise ValueError(f"{text[:40]!r} is no decimal number")
    return cls.of(float(text))


def _depth(depth: Length | Passes | DepthWord) -> str:
    return f"{_magnitude(depth)} m" if isinstance(depth, Length) else str(depth)
