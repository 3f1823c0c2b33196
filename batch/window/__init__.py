"""The window: books judged and papers made without a command line."""
