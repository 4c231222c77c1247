"""Hypothesis profiles: no deadlines; derandomised in continuous integration."""

import os

from hypothesis import HealthCheck, settings

_quiet = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile("dev", max_examples=50, deadline=None, suppress_health_check=_quiet)
settings.register_profile(
    "ci", max_examples=25, deadline=None, derandomize=True, print_blob=True, suppress_health_check=_quiet
)
settings.register_profile("nightly", max_examples=5000, deadline=None, print_blob=True, suppress_health_check=_quiet)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))
