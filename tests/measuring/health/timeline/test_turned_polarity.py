from judged_pairs import judged_path, recorded

RATE_HZ = 48_000


def test_a_polarity_that_turns_in_a_pause_is_told():
    samples = recorded("plain-wire", 25.8).copy()
    samples[round(2.3 * RATE_HZ) :] *= -1  # in the silence: no tone shows it
    told = {item.code: item for item in judged_path(samples, "turned")[1]}
    assert told["polarity-inverted"].severity == "stop" and "path" in told["polarity-inverted"].withholds
