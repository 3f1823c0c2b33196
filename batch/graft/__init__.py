"""Adds result sheets to an existing workbook file without touching anything else in it."""

from siltbook.batch.graft.place import free_names, graft, taken_names
from siltbook.batch.package.limits import GraftError

__all__ = ["GraftError", "free_names", "graft", "taken_names"]
