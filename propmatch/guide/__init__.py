"""The guide: pages for people who build, read in the terminal, in one HTML file, and from the page.

Enter: the name of a page. Leave: its Markdown, the same as text for the terminal, or as HTML without network.
Imports every room but ``page`` and ``commands``; only these import it.

A page is ``pages/NAME.md`` with a line in :data:`propmatch.guide.contents.GROUPS`, or a function in
:data:`propmatch.guide.contents.WRITERS` that writes it from docstrings and declarations. How a page is written:

* ``# Title`` on the first line, ``##`` and ``###`` below it; paragraphs, lists, fenced code and tables. No HTML.
  Equations are plain text in Unicode, in a ``text`` block or between backticks.
* A link to another page is ``[words](NAME.md)`` or ``[words](NAME.md#heading-in-lower-case)``; both are checked.
* A ``console`` block holds commands behind ``$``, each followed by what it prints, whole, or up to a line ``...``. They
  run in the page's folder, in their order; exit code 0, unless ``exit=1`` stands behind the fence.
* A block that begins ``toml file=NAME`` (or csv, python, text) is a file that later commands of the page read; with
  ``more`` behind it the block goes to the end of that file.
* A ``python`` block without a file is a doctest where it has ``>>>``, else it is run.
* A ``text`` block is shown and not run.
"""
