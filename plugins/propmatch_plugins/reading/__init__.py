"""Reading parts from tables and documents that people keep: text with delimiters, workbooks, TOML, JSON.

From a file to parts in one direction: ``delimited`` (and the spreadsheet plugin) make a ``Grid`` of cells, ``heading``
plans which column is which of ours, in which unit and for which kind of part, by a mapping file or by the words of
:mod:`propmatch.records.headings`, ``cells`` reads whole columns with what :mod:`propmatch.records.written` knows of
numbers and short forms, and ``rows`` builds the parts. ``documents`` reads TOML and JSON. ``template`` writes empty
files.
"""
