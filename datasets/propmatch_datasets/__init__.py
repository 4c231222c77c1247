"""Bundled tables, all invented, with their origin."""
