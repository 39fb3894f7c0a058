"""Attack and release, and how they depend on programme."""
