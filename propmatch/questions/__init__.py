"""What builders ask beyond the best: other cell counts, substitutes, limits backwards, what others may fit.

Enter: a brief, a design, a catalogue. Leave: records with the answer, its checks and its assumptions. Imports
``search`` and what that imports.
"""
