"""Stages built by other means than the package's own, and what the tool makes of them."""
