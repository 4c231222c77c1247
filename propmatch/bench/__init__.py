"""From readings on the bench to numbers that can be trusted: what was read, what it says, and how sure that is.

Enter: a log (file, table or mappings) and what is known of motor, propellers and pack. Leave: constants with intervals,
what the log leaves undetermined, and what is wrong with it. Imports ``questions`` and what that imports.
"""
