"""Board files in: text of a human or of a layout tool to a Board; every error names file, table and key."""
