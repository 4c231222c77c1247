"""One value against one limit: what is judged, where its limit comes from, and the verdict.

Each check is one record in ``checkrules``. Enter: a brief resolved for one variant (``Setting``), lanes of trains and
their ratings. Leave: measures of N lanes, and ``Check`` objects for one design. Imports ``tolerances`` and what that
imports.
"""
