"""The local page: a brief to play with in the browser, answered by the same functions as everywhere else.

Enter: a brief, a catalogue, and questions as JSON. Leave: JSON, by :class:`Desk`, which needs no server. Imports
``sheet`` and what that imports; serving the page (:mod:`propmatch.page.server`) needs the ``page`` extra.
"""

from propmatch.page.desk import Desk

__all__ = ["Desk"]
