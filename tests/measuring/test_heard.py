"""A silence is listened to once, however many ask."""

from taken import take_of, wire

from charprobe.measuring.heard import heard_in
from charprobe.stimulus.kinds.steady import Silence


def test_every_asker_gets_the_same_answer(rng):
    take = take_of((Silence("idle", 1.0, tone_s=0.5),), wire, rng=rng)
    first = heard_in(take, take.stimulus.segments[0])
    assert first is heard_in(take, take.stimulus.segments[0])
    assert not first.muted
