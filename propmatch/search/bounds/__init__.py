"""The quick search: bounds that decide most combinations without solving them.

Enter: a ``Setting``, a ``Shelf``, a ``Ranking``. Leave: ``Found``, equal to what the plain search finds. Nobody outside
``search`` imports a module of this room. Imports what ``search`` imports.
"""
