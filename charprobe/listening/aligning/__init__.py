"""Bringing a processed file and its dry one onto one clock."""
