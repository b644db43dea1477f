"""Settings for all tests: property tests run the same on slow and fast machines; one that asserts nothing fails."""

import os

from hypothesis import HealthCheck, settings

from tests.asserted import (
    pytest_runtest_call,
    pytest_runtest_protocol,
    pytest_sessionfinish,
    pytest_terminal_summary,
)

__all__ = ["pytest_runtest_call", "pytest_runtest_protocol", "pytest_sessionfinish", "pytest_terminal_summary"]

settings.register_profile("tapplan", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("tapplan"), derandomize=True, database=None)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "tapplan")
