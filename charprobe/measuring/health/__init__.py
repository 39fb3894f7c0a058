"""What is wrong with a capture, where, and what it costs."""
