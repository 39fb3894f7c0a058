"""Where the stimulus lies in a capture: delay, clock, polarity, and what is there instead."""
