"""What several tests share: invented parts with known truth, second paths, and the ways to look at what comes out.

``bundled`` bundled parts by what they are, ``trains`` small power trains and tables given by formulas,
``small_aircraft`` a brief and a catalogue in simple numbers, ``random_cases`` random catalogues and briefs, ``oracle``
the operating point written out once more, ``checks`` one more check, ``entry_points`` plugins that are not installed,
``commands`` a brief and a train for the command line, ``sheets``, ``pages`` and ``browser`` for what is shown.
Imported as ``from support.trains import simple_train``: the tests folder is on the path, see pyproject.toml.
"""
