"""Hearing it fairly: aligned and matched pairs, what changed between them, and blind listening."""
