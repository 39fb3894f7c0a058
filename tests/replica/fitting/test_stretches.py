from charprobe.replica.fitting.stretches import Stretch, after_loud
from charprobe.stimulus.kinds.segment import Tone


def test_onsets_as_loud_are_remembered_at_another_pitch_and_quieter_ones_are_not():
    played = ((700, -6.0), (110, -6.0), (700, -6.0), (110, -6.0), (997, -20.0))
    tones = [Tone(1000 * i, 900, hz, level, 0.0, 10, i) for i, (hz, level) in enumerate(played)]
    stretch = after_loud(Stretch("steps", 5000, 6000, "fit"), tones)
    assert stretch.before == ((4000, -20.0), (3000, -6.0), (2000, -6.0))
