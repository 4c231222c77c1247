"""Motor, controller, pack and propeller together: lanes, the balance of torques, the operating point.

Enter: power trains, airspeed, throttle, charge, air. Leave: ``OperatingPoint`` with a status for each lane. Everything
works on lanes; a scalar is one lane. Imports ``models`` and ``records``.
"""
