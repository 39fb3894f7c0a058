"""Sound, text and tables on disk: written whole or not at all, read as data that nobody vouches for."""
