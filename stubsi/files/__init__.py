"""Reading of board files: from a TOML text to a Board. Every error names file, table and key."""
