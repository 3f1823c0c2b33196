"""Keeps every sample's figures as they are now."""

from tests.golden.figures import write

write()
