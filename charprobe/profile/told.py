"""Findings that others ask for by kind: how a sentence of a kind begins is written here alone."""

from enum import StrEnum

SATURATED = "the stage reduces no gain; what is lost at high levels is saturation"
AT_ONCE = "the gain follows the level at once, up and down: that is saturation, which takes no time"
"""Why there is no time where a stage only saturates."""


class Told(StrEnum):
    """Kinds of finding; the value is how a sentence of the kind begins."""

    ANSWERS_CHANGES = "Its gain answers changes of level, not level"
    COLOUR = "Colour shows"
    DEAD = "Gain is lost to distortion that grows as the level falls"
    GATE = "Gate or expander"
    INVERTS = "Inverts polarity"
    LIFTS = "Upward compressor, working"
    PEAKS = "Keep steady peaks"
    RISES = "Its gain rises with level"
    STEEPER = "Steeper yet above"
    UNLIKE = "What it does depends on the frequency"
