"""Hypothesis profiles: no deadlines; derandomised in continuous integration. A cache folder for this run alone."""

import os
import tempfile

from hypothesis import HealthCheck, settings

_quiet = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile("dev", max_examples=50, deadline=None, suppress_health_check=_quiet)
settings.register_profile(
    "ci", max_examples=25, deadline=None, derandomize=True, print_blob=True, suppress_health_check=_quiet
)
settings.register_profile("nightly", max_examples=5000, deadline=None, print_blob=True, suppress_health_check=_quiet)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))


def pytest_configure(config):
    """Answers kept by one test serve the others of this run, whatever process they are in, and nobody else."""
    if not hasattr(config, "workerinput"):
        folder = tempfile.TemporaryDirectory(prefix="propmatch-cache-")
        os.environ["PROPMATCH_CACHE"] = folder.name
        config.add_cleanup(folder.cleanup)
