"""First-party plugins: the same door as anyone else's."""
