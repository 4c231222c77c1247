"""What people write down: parts and briefs, the rules of their fields, and estimates for what is missing.

Enter: mappings from files, typed text, rows of a listing. Leave: frozen records, validated, each with its source; every
fault at once with its place; every estimate as an assumption. Imports ``models``.
"""
