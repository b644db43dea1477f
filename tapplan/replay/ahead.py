"""The next chunk of a log is read while this one is worked on."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")


def ahead(items: Iterator[Item]) -> Iterator[Item]:
    """The same items; each is fetched by another thread while the one before is in use."""
    end = object()
    with ThreadPoolExecutor(1) as reader:
        coming = reader.submit(next, items, end)
        while (item := coming.result()) is not end:
            coming = reader.submit(next, items, end)
            yield item  # type: ignore[misc]
