"""Sheets as people have them, CSV and XLSX: read and written safely. Nothing here knows what a column means."""
