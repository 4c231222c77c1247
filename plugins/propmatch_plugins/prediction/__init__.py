"""Predicted coefficient tables for propellers that were never measured, each with an honest interval."""
