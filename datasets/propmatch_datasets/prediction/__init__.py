"""Fitted coefficients of the propeller prediction: small tables, see ``origin.toml`` beside them."""
