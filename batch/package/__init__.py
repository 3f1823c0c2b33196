"""The zip of parts that a workbook is: opened once, read within limits, and written again."""
