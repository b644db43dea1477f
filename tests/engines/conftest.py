"""What tests with engines share: a real browser."""

from tests.chromium import browser

__all__ = ["browser"]
