"""What the tables show: one description each, from which sheet, page and CSV follow."""
