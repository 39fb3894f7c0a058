"""A page from profiles and their figures."""
