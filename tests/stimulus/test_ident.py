"""The ident."""

import itertools

import numpy as np
import pytest
from scipy.signal import resample_poly

from charprobe.stimulus.ident import (
    ATTEMPTS,
    IDENT_S,
    MISREAD_PROBABILITY,
    decode_symbols,
    ident_length,
    ident_symbols,
    read_ident,
    render_ident,
)

RATE_HZ = 48_000


def padded(sound, before_s=0.31, after_s=0.4, rate_hz=RATE_HZ):
    return np.concatenate([np.zeros(round(before_s * rate_hz)), sound, np.zeros(round(after_s * rate_hz))])


def said(samples, rate_hz=RATE_HZ):
    reading = read_ident(samples, rate_hz=rate_hz)
    return None if reading is None else (reading.recipe_hash_prefix, reading.take)


CODES = [("000000", 0), ("ffffff", 255), ("09af3c", 7), ("a1b2c3", 128), ("111111", 17)]


@pytest.mark.parametrize(("prefix", "take"), CODES)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_every_rate_reads_back(prefix, take, rate_hz):
    sound = render_ident(prefix, take, rate_hz=rate_hz, level_dbfs=-36.0)
    assert sound.size == ident_length(rate_hz) == round(IDENT_S * rate_hz)
    reading = read_ident(padded(sound, rate_hz=rate_hz), rate_hz=rate_hz)
    assert (reading.recipe_hash_prefix, reading.take) == (prefix, take)
    assert abs(reading.start_s - 0.31) <= 0.02  # the two neighbouring placements of 5 ms may decode as well


def test_envelope_is_constant_and_phase_continuous():
    sound = render_ident("09af3c", 7, rate_hz=RATE_HZ, level_dbfs=0.0)
    step = 2 * np.pi * 3500 / RATE_HZ  # the fastest tone's largest step between two samples
    assert np.abs(np.diff(sound)).max() <= step
    level = np.sqrt(2 * np.mean(sound[480:-480] ** 2))
    assert abs(level - 1) < 1e-3  # whole cycles but for the two part symbols at the ends


def squash(x):
    """A hard, fast compressor: level of the local RMS to the power of 0.1, so 20 dB in give 2 dB out."""
    rms = np.sqrt(np.convolve(x**2, np.ones(96) / 96, mode="same") + 1e-10)
    return x / rms**0.9


FAULTS = {
    "-40 dB": lambda x: 0.01 * x,
    "+20 dB": lambda x: 10 * x,
    "inverted": lambda x: -x,
    "compressor": squash,
    "16 bit at -40 dB": lambda x: np.round(0.01 * x * 32768) / 32768,
    "mono fold with an empty channel": lambda x: 0.5 * x,
    "hard clipped": lambda x: np.clip(4 * x, -0.02, 0.02),
    "hum 20 dB above": lambda x: x + 0.16 * np.sin(2 * np.pi * 50 / RATE_HZ * np.arange(x.size)),
    "off clock by 500 ppm": lambda x: np.interp(np.arange(x.size) * 1.0005, np.arange(x.size), x),
    "DC": lambda x: x + 0.3,
    "echo 3 ms": lambda x: x + 0.7 * np.concatenate([np.zeros(144), x[:-144]]),
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize(("prefix", "take"), CODES[2:])
def test_rig_faults_leave_the_code_readable(fault, prefix, take):
    sound = padded(render_ident(prefix, take, rate_hz=RATE_HZ, level_dbfs=-36.0))
    assert said(FAULTS[fault](sound)) == (prefix, take)


@pytest.mark.parametrize(("up", "down", "rate_hz"), [(147, 160, 44_100), (2, 1, 96_000)])
def test_rate_conversion_leaves_the_code_readable(up, down, rate_hz):
    sound = padded(render_ident("09af3c", 7, rate_hz=RATE_HZ, level_dbfs=-36.0))
    assert said(resample_poly(sound, up, down), rate_hz) == ("09af3c", 7)


def test_noise_as_loud_as_the_code_is_overcome(rng):
    sound = padded(render_ident("09af3c", 7, rate_hz=RATE_HZ, level_dbfs=-36.0))
    amplitude = 10 ** (-36 / 20)
    noise = rng.normal(0, amplitude / np.sqrt(2), sound.size)  # SNR 0 dB in the full band
    assert said(sound + noise) == ("09af3c", 7)


def test_checksum_lets_one_code_in_65536_through(rng):
    payload = rng.integers(0, 16, 8).tolist()
    endings = itertools.product(range(16), repeat=4)
    passed = [[*payload, *ending] for ending in endings if decode_symbols([*payload, *ending]) is not None]
    assert len(passed) == 1
    assert passed[0] == ident_symbols(*decode_symbols(passed[0]))
    assert MISREAD_PROBABILITY == ATTEMPTS / 2**16


def test_any_one_or_two_wrong_tones_are_refused():
    symbols = ident_symbols("09af3c", 7)
    for i in range(12):
        for a in range(1, 16):
            one = symbols.copy()
            one[i] ^= a
            assert decode_symbols(one) is None  # a burst of 4 bits: shorter than the checksum, always found
            for j in range(i + 1, min(i + 4, 12)):
                for b in range(1, 16):
                    two = one.copy()
                    two[j] ^= b
                    assert decode_symbols(two) is None  # bursts up to 16 bits: always found


def test_sound_that_is_no_ident_is_not_read(rng):
    for _ in range(30):
        assert said(rng.normal(0, 0.1, RATE_HZ)) is None
        hz = rng.uniform(500, 4000, 3)
        assert said(np.sin(2 * np.pi / RATE_HZ * np.outer(np.arange(RATE_HZ), hz)).sum(axis=1)) is None
    assert said(np.zeros(RATE_HZ)) is None
    assert said(np.zeros(100)) is None
    assert said(padded(render_ident("09af3c", 7, rate_hz=RATE_HZ, level_dbfs=-36.0))[::-1]) is None


def test_what_cannot_be_coded_is_refused():
    with pytest.raises(ValueError, match="hex digits"):
        render_ident("09AF3C", 7, rate_hz=RATE_HZ, level_dbfs=-36.0)
    with pytest.raises(ValueError, match="0 to 255"):
        render_ident("09af3c", 256, rate_hz=RATE_HZ, level_dbfs=-36.0)
