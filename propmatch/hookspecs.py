"""Door to :mod:`propmatch.catalogue.hookspecs`."""

from propmatch.catalogue.hookspecs import *  # noqa: F403
from propmatch.catalogue.hookspecs import __all__ as __all__
