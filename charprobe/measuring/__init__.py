"""From a capture to a profile, or to a verdict on whether to keep it."""
