"""Whether what was played stands in the capture in its place, unbroken, and at one gain."""
