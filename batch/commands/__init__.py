"""The commands, one module per subject: thin calls of the library."""
