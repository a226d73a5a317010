"""Set-up, stock and orders of a shop in one workbook: read, tried out, written."""
