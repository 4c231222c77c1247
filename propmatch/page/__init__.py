"""The local page: a brief to play with in the browser, answered by the same functions as everywhere else."""

from propmatch.page.server import create_app

__all__ = ["create_app"]
