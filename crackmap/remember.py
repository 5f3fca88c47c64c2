"""Answers kept for the very same record: records do not change, so neither does what follows from one."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import Any, Generic, TypeVar

Record = TypeVar("Record")
Answer = TypeVar("Answer")


class _Same(Generic[Record]):
    """A record known by its identity; holding it keeps the identity from being used again."""

    __slots__ = ("record",)

    def __init__(self, record: Record) -> None:
        self.record = record

    def __hash__(self) -> int:
        return id(self.record)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.record is other.record


def remembered(most: int) -> Callable[[Callable[[Record], Answer]], Callable[[Record], Answer]]:
    """Decorator for a function of one frozen record: the last `most` answers are kept, by the record's identity.

    The answers are handed out as they are, so nobody may change one.
    """
    def wrap(function: Callable[[Record], Answer]) -> Callable[[Record], Answer]:
        @lru_cache(maxsize=most)
        def kept(same: _Same[Any]) -> Answer:
            return function(same.record)

        @wraps(function)
        def asked(record: Record) -> Answer:
            return kept(_Same(record))

        return asked

    return wrap
