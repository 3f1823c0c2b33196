"""Reading a workbook: bytes to one `Book`, with a finding for each odd cell."""
