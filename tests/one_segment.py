"""One segment laid out and rendered on its own."""

from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out

RATE_HZ = 48_000


def one(spec):
    """The segment of a recipe that holds `spec` alone, and its sound on side 1."""
    segment = lay_out(Recipe("x", "x", (spec,)), rate_hz=RATE_HZ, take=7).segments[0]
    return segment, segment.render(rate_hz=RATE_HZ)
