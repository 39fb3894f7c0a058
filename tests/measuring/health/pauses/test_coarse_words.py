from judged_captures import clean, told

from charprobe.simulation.rig.rig import quantise


def test_words_of_20_bits_are_told_where_their_dither_is_part_of_the_noise(rng):
    quiet, louder = (clean("plain-wire", rng, noise_dbfs=each) for each in (-115.0, -95.0))
    once = quantise(quiet, bits=20, dither=True, rng=rng)
    assert "20 bits" in told(quantise(0.9 * once, bits=20, dither=True, rng=rng))["few-bits"]
    for harmless in (louder, quiet):
        assert "few-bits" not in told(quantise(harmless, bits=24, dither=True, rng=rng))
    assert "few-bits" not in told(quantise(louder, bits=20, dither=True, rng=rng))
