"""What a workbook is: sheets, columns, units, choices, wording, palette, the blank one."""
