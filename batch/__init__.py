"""Command line, reading, computing, deciding, writing back, many books at once."""

__version__ = "0.1.0"
