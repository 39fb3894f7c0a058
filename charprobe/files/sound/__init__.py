"""Sound on disk and in memory."""
