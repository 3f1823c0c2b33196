"""Command line, reading, computing, deciding, writing back, many books at once."""
