"""Many values in lots, for whoever may take only so many at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")
# SQLite and PostgreSQL both limit how many values one statement may bear; a plan by index stays one with so many.
AT_ONCE = 500


def chunks(values: Iterable[T], size: int = AT_ONCE) -> Iterator[list[T]]:
    """The values in their order, `size` of them at a time; nothing where there are none."""
    whole = list(values)
    return (whole[at : at + size] for at in range(0, len(whole), size))
