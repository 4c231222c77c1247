"""What the power train does to an aircraft: level flight, climb, flight time, balance, trim.

Enter: lanes of trains, an airframe, phases, places of masses. Leave: speeds, minutes, centre of gravity, moments.
Imports ``train`` and what that imports.
"""
