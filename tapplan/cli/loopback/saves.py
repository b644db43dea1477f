"""When files may have been saved: told by the system, and once a second whatever it tells.

The folders are watched, not the files, for many editors save by putting another file in the place of the first.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from pathlib import Path

from watchfiles import Change, awatch

LOOK_MS = 1000  # for folders whose system tells nothing, such as those of another machine


async def watch_saves(paths: Iterable[str], tell: Callable[[], None]) -> None:
    """Tells whenever one of the files may be another, until it is cancelled."""
    files = {file for path in paths for file in (Path(path).absolute(), Path(path).resolve())}
    names = {file.name for file in files}

    def ours(change: Change, path: str) -> bool:
        return Path(path).name in names

    try:
        folders = {file.parent for file in files}
        changes = awatch(*folders, watch_filter=ours, recursive=False, yield_on_timeout=True, rust_timeout=LOOK_MS)
        async for _ in changes:
            tell()
    except (OSError, RuntimeError):  # no more watches to be had, or a folder is gone: looking is enough
        while True:
            tell()
            await asyncio.sleep(LOOK_MS / 1000)
