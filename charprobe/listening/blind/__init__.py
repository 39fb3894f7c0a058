"""Blind listening: a page that hides which is which, its key, its score."""
