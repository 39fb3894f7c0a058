"""A value with its interval or why there is none, numbers as people read them, and what goes wrong."""
