"""Parts through plugins: the hooks, the manager that keeps a broken plugin harmless, and the parts by id.

Enter: plugins by entry point, folders of a user. Leave: ``Catalogue``, with every fault and every broken plugin kept.
Imports ``checks`` and what that imports (a plugin may add checks); knows no search.
"""
