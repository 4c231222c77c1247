"""What builders ask beyond the best: cell counts, substitutes, limits backwards, what others may fit, one's own box.

Enter: a brief, a design, a catalogue. Leave: records with the answer, its checks and its assumptions. Imports
``search`` and what that imports.
"""
