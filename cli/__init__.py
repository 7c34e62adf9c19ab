"""The command line: parses, calls the engine, renders what it returns. No trade knowledge, no computation."""
