"""A heap of keys and items for searches that are compiled."""

from __future__ import annotations

from typing import Any

import numpy as np

from parcelfence.compiled import compiled

__all__ = ["popped", "pushed"]


@compiled
def pushed(heap: Any, size: int, key: float, item: int) -> Any:
    """Put an item on a heap (keys, items), which may grow; gives the heap."""
    keys, items = heap
    if size == keys.size:
        keys = np.append(keys, np.empty(size, dtype=keys.dtype))
        items = np.append(items, np.empty(size, dtype=items.dtype))
    at = size
    while at > 0:
        above = (at - 1) >> 1
        if keys[above] <= key:
            break
        keys[at], items[at] = keys[above], items[above]
        at = above
    keys[at], items[at] = key, item
    return keys, items


@compiled
def popped(heap: Any, size: int) -> None:
    """Take the least item off, which goes to the end of the heap."""
    keys, items = heap
    key, item = keys[size - 1], items[size - 1]
    keys[size - 1], items[size - 1] = keys[0], items[0]
    at, last = 0, size - 1
    while True:
        below = 2 * at + 1
        if below >= last:
            break
        if below + 1 < last and keys[below + 1] < keys[below]:
            below += 1
        if keys[below] >= key:
            break
        keys[at], items[at] = keys[below], items[below]
        at = below
    if last > 0:
        keys[at], items[at] = key, item
