"""How sure a number is: spreads of the numbers of parts and aircraft, and draws from them.

Enter: parts and their sources. Leave: the same parts with other numbers, and what the spread rests on. Imports
``aircraft`` and what that imports; knows no check and no catalogue.
"""
