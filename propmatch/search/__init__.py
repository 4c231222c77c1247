"""Which combinations of parts meet a brief, best first.

Enter: a brief and a catalogue. Leave: ``Shortlist``: rows, counts of what was left out, the front. The plain way is the
reference; ``bounds`` is the quick one and is proved against it. Imports ``catalogue`` and what that imports.
"""
