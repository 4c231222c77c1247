"""The local page: a brief to play with in the browser, answered by the same functions as everywhere else.

Enter: requests of one browser on this machine. Leave: JSON and the page. Imports ``sheet`` and what that imports; needs
the ``page`` extra.
"""

from propmatch.page.server import create_app

__all__ = ["create_app"]
