"""Numbers and answers as people read them: units of the reader, checks and parts in words.

Enter: results of the rooms below. Leave: text. One wording for command line, sheet and page. Imports ``questions`` and
what that imports.
"""
