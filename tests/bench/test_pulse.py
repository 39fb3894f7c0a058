from charprobe.bench.pulse import Pulse

RATE_HZ = 1000


def told(frames, *, every_s=0.05):
    """What is said, and when, of frames that had come at each look."""
    pulse = Pulse(RATE_HZ, 0.0)
    for look, frame in enumerate(frames, start=1):
        pulse.stood_s(look * every_s)
        if said := pulse.trouble(frame, look * every_s):
            return said, look * every_s
    return "", None


def test_a_device_that_stops_is_told_three_seconds_later():
    said, at_s = told([*range(50, 1050, 50), *[1000] * 100])
    assert "stopped 1.0 s into the take" in said
    assert 4.0 < at_s < 4.2


def test_one_that_crawls_is_told_though_samples_come_all_the_time():
    said, at_s = told(range(2, 2000, 2))  # 40 a second
    assert "only 40 samples a second instead of 1000" in said
    assert at_s < 10.1
    assert told(range(10, 10_000, 10)) == ("", None)  # a fifth of the rate: a busy machine


def test_a_program_that_stood_still_starts_anew():
    pulse = Pulse(RATE_HZ, 0.0)
    assert pulse.stood_s(0.5) == 0.0
    assert pulse.trouble(500, 0.5) == ""
    assert pulse.stood_s(60.5) == 60.0
    assert pulse.trouble(500, 60.5) == ""
    assert pulse.stood_s(61.0) == 0.0
    assert pulse.trouble(1000, 61.0) == ""
