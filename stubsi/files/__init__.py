"""Reading of board files: from TOML text, or from IPC-2581, to a Board. Errors name the file and the place in it."""
