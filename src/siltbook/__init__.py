"""Siltbook: reads a farm's filter-station workbook and judges every station."""

__version__ = "0.2.0"
