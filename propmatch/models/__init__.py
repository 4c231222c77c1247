"""Equations of one thing each: air, motor, controller, pack, lifting surface, propeller and its tables.

Enter: float64 arrays in SI units, any shape that broadcasts. Leave: arrays of the same shape. No files, no pandas, no
plugin, no other part than the one a module is named for. Imported by every room; imports none.
"""
