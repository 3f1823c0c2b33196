"""Adds result sheets to an existing workbook file without touching anything else in it."""

from siltbook.batch.graft.package import GraftError
from siltbook.batch.graft.place import free_names, graft, taken_names

__all__ = ["GraftError", "free_names", "graft", "taken_names"]
