"""Door to :mod:`propmatch.records.brief`."""

from propmatch.records.brief import *  # noqa: F403
from propmatch.records.brief import __all__ as __all__
