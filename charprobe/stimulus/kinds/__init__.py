"""Segment kinds: what each segment of a recipe sounds like."""
