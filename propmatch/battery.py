"""Door to :mod:`propmatch.models.pack`."""

from propmatch.models.pack import *  # noqa: F403
from propmatch.models.pack import __all__ as __all__
