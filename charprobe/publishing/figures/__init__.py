"""One figure per file; the only user of matplotlib."""
