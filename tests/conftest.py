"""How the tests are run: properties repeatable on a build machine and quick on a bench, calculation in one thread."""

from __future__ import annotations

import os
import tempfile

from hypothesis import HealthCheck, settings

# As the command line does before numpy is imported: its matrices are small here, and threads only wait for one another.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

# What the command line keeps for the next time belongs to nobody's own cache folder here.
os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="formulary-tests-cache-")

_SLOW_IS_FINE = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile("dev", max_examples=40, deadline=None, suppress_health_check=_SLOW_IS_FINE)
settings.register_profile(
    "ci", max_examples=100, deadline=None, derandomize=True, database=None, suppress_health_check=_SLOW_IS_FINE
)
settings.register_profile("long", max_examples=600, deadline=None, suppress_health_check=_SLOW_IS_FINE)
settings.register_profile("nightly", max_examples=5000, deadline=None, suppress_health_check=_SLOW_IS_FINE)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))
