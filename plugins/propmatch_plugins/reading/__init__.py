"""Reading parts from tables and documents that people keep: text with delimiters, workbooks, TOML, JSON.

From a file to parts in one direction: ``delimited`` (and the spreadsheet plugin) make a ``Grid`` of cells, ``mapping``
says which of its columns is which of ours and in which unit, ``heading`` turns that into a plan, ``cells`` reads whole
columns and ``rows`` builds the parts. ``documents`` reads TOML and JSON. ``template`` writes empty files.
"""
