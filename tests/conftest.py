"""Settings for all tests: property tests run the same on a slow and on a fast machine."""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("tapplan", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("tapplan"), derandomize=True, database=None)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "tapplan")
