"""Segment families: what each segment of a recipe sounds like."""
