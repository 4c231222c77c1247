"""One module for each command of the command line; ``command`` is the click command.

Enter: what somebody typed. Leave: text, JSON or CSV, and an exit code (0 answered, 1 cannot be met, 2 bad input, 130
interrupted).
Imports every room; nothing heavy before it is needed, so that ``--help`` is quick.
"""
