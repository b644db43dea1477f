"""What tests of the closed loop share: a real browser."""

from tests.chromium import browser

__all__ = ["browser"]
