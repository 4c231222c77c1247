"""One module for each command of the command line; ``command`` is the click command."""
