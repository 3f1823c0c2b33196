"""Is this workbook fit to judge? Schemas and cross-row rules; they never change data."""
