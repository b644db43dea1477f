"""A log read ahead: what comes next is read while what came before is worked on."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
AHEAD = 2  # so that neither side waits where one thing takes longer than another


def ahead(items: Iterator[Item]) -> Iterator[Item]:
    """The same items; another thread fetches the next ones while one is in use."""
    end = object()
    with ThreadPoolExecutor(1) as reader:
        coming = deque(reader.submit(next, items, end) for _ in range(AHEAD))
        while (item := coming.popleft().result()) is not end:
            coming.append(reader.submit(next, items, end))
            yield item  # type: ignore[misc]
