"""Door to :mod:`propmatch.train.coupling`."""

from propmatch.train.coupling import *  # noqa: F403
from propmatch.train.coupling import __all__ as __all__
