"""What the power train does to an aircraft: flight, time, balance, trim, room for the propeller, roll and yaw.

Enter: lanes of trains, an airframe, phases, places of masses. Leave: speeds, minutes, centre of gravity, moments.
Imports ``train`` and what that imports.
"""
