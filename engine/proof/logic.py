"""Formulas with constants folded away as they are built, so that what is known of a wall costs the solver nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeAlias

import z3

Formula: TypeAlias = Any
"""`True`, `False`, or a Boolean expression of the solver."""

_context: ContextVar[z3.Context | None] = ContextVar("context", default=None)


@contextmanager
def within(context: z3.Context) -> Iterator[None]:
    """Write formulas in this context: each wall has one, so that no answer depends on what was asked before it."""
    token = _context.set(context)
    try:
        yield
    finally:
        _context.reset(token)


def boolean(name: str) -> Formula:
    """A Boolean variable of the context in use."""
    return z3.Bool(name, _context.get())


def integer(name: str) -> Any:
    """An integer variable of the context in use."""
    return z3.Int(name, _context.get())


def all_of(parts: Iterable[Formula]) -> Formula:
    """And; true of none."""
    kept = []
    for part in parts:
        if part is False:
            return False
        if part is not True:
            kept.append(part)
    return True if not kept else kept[0] if len(kept) == 1 else _joined(z3.Z3_mk_and, kept)


def any_of(parts: Iterable[Formula]) -> Formula:
    """Or; false of none."""
    kept = []
    for part in parts:
        if part is True:
            return True
        if part is not False:
            kept.append(part)
    return False if not kept else kept[0] if len(kept) == 1 else _joined(z3.Z3_mk_or, kept)


def _joined(make: Callable[..., Any], parts: list[Any]) -> Formula:
    # `z3.And` and `z3.Or` look at the sort of every part, which takes most of the time of writing a rule base down;
    # here all parts are known to be Boolean.
    context = parts[0].ctx
    asts = (z3.Ast * len(parts))(*(part.as_ast() for part in parts))
    return z3.BoolRef(make(context.ref(), len(parts), asts), context)


def negated(part: Formula) -> Formula:
    """Not."""
    return (not part) if isinstance(part, bool) else z3.Not(part)


def implied(when: Formula, then: Formula) -> Formula:
    """If `when`, then `then`."""
    return any_of((negated(when), then))


def same(one: Formula, other: Formula) -> Formula:
    """Both or neither."""
    if isinstance(one, bool):
        return other if one else negated(other)
    if isinstance(other, bool):
        return one if other else negated(one)
    return one == other


def at_most_one(parts: Iterable[Formula]) -> Formula:
    """No two of them."""
    kept = list(parts)
    sure = sum(part is True for part in kept)
    open_parts = [part for part in kept if not isinstance(part, bool)]
    if sure > 1:
        return False
    if sure == 1:
        return all_of(negated(part) for part in open_parts)
    return z3.AtMost(*open_parts, 1) if len(open_parts) > 1 else True
