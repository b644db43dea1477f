"""What tests with engines share: a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.chromium import demanded, started


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    demanded()
    driver = started()
    yield driver
    driver.quit()
