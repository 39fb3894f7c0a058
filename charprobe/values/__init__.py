"""A value with its interval or the reason why there is none, numbers as people read them, and what goes wrong."""
