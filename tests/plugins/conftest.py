"""The example distribution is a project of its own; its tests run where it is installed."""

collect_ignore = ["example_distribution"]
