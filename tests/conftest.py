"""How the property tests are run: repeatable on a build machine, quick on a bench."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

_SLOW_IS_FINE = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile("dev", max_examples=50, deadline=None, suppress_health_check=_SLOW_IS_FINE)
settings.register_profile(
    "ci", max_examples=100, deadline=None, derandomize=True, database=None, suppress_health_check=_SLOW_IS_FINE
)
settings.register_profile("long", max_examples=600, deadline=None, suppress_health_check=_SLOW_IS_FINE)
settings.register_profile("nightly", max_examples=5000, deadline=None, suppress_health_check=_SLOW_IS_FINE)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))
