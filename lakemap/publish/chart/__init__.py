"""A chart on paper from a finished map: sheets, depth figures, tables and spot cards as PDF."""
