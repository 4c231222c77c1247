"""Prediction tables of 2026-11-25, kept so that the invented propellers stay as they are while the prediction learns.

Same form as ``propmatch_datasets.prediction``, label only; read by ``kept_knowledge``.
"""
