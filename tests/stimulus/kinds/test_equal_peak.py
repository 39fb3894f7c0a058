import numpy as np
from one_segment import one

from charprobe.stimulus.kinds.equal_peak import EqualPeak
from charprobe.stimulus.kinds.waveforms import SINE, WAVEFORMS

SPEC = EqualPeak("law", 800.0, (-50.0, -10.0), 0.2)


def test_every_waveform_is_played_at_every_peak_level():
    segment, sound = one(SPEC)
    assert len(segment.tones) == 2 * len(WAVEFORMS)
    for tone in segment.tones:
        part = sound[tone.start - segment.span.start :][: tone.length]
        peak_db = 20 * np.log10(np.abs(part).max())
        # samples 60 to a period of the fundamental miss the peak by a few hundredths of a dB
        assert tone.level_dbfs - 0.15 < peak_db <= tone.level_dbfs + 0.01
        assert abs(part[0]) < 1e-4  # faded in
        assert abs(part[-1]) < 1e-4


def test_the_sine_is_played_at_its_frequency():
    segment, sound = one(SPEC)
    tone = segment.tones[WAVEFORMS.index(SINE)]
    part = sound[tone.start - segment.span.start :][: tone.length]
    assert np.argmax(np.abs(np.fft.rfft(part))) == 800 * 0.2  # whole periods: one bin a period
