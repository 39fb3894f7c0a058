import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from charprobe.files.sound.sample_codes import decode, encode
from charprobe.values.errors import SoundFileError

LSB = 2.0**-23


@pytest.mark.parametrize(
    ("value", "code"),
    [
        (0.0, 0),
        (1.0, 2**23 - 1),
        (-1.0, -(2**23)),
        (1.0 - LSB, 2**23 - 1),
        (1.0 - LSB / 4, 2**23 - 1),
        (0.5 * LSB, 0),  # halves go to the even code
        (1.5 * LSB, 2),
        (2.5 * LSB, 2),
        (-0.5 * LSB, 0),
        (-1.5 * LSB, -2),
        (0.51 * LSB, 1),
    ],
)
def test_a_value_becomes_the_nearest_code_and_never_wraps(value, code):
    raw = encode(np.array([[value]]), encoding="pcm24")
    assert int.from_bytes(raw, "little", signed=True) == code


@pytest.mark.parametrize("encoding", ["pcm24", "float32"])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_what_is_not_finite_is_refused(bad, encoding):
    with pytest.raises(SoundFileError, match=r"values that are not finite.*Nothing was written"):
        encode(np.array([[0.0], [bad]]), encoding=encoding)


def test_beyond_full_scale_is_refused_for_24_bit_and_kept_in_float():
    over = np.array([[1.0 + 1e-9]])
    with pytest.raises(SoundFileError, match="a peak of 1 cannot be written as pcm24"):
        encode(over, encoding="pcm24")
    assert decode(encode(np.array([[4.0]]), encoding="float32"), encoding="float32", channels=1)[0, 0] == 4.0
    with pytest.raises(SoundFileError, match=r"a peak of 1e\+39 cannot be written as float32"):
        encode(np.array([[1e39]]), encoding="float32")


@pytest.mark.parametrize(
    ("encoding", "raw", "value"),
    [
        ("pcm8", b"\x00", -1.0),
        ("pcm8", b"\x80", 0.0),
        ("pcm8", b"\xff", 127 / 128),
        ("pcm16", b"\x00\x80", -1.0),
        ("pcm16", b"\x01\x00", 2.0**-15),
        ("pcm24", b"\xff\xff\xff", -LSB),
        ("pcm24", b"\xff\xff\x7f", 1 - LSB),
        ("pcm32", b"\x01\x00\x00\x00", 2.0**-31),
        ("pcm32", b"\x00\x00\x00\x80", -1.0),
        ("float32", b"\x00\x00\x40\xc0", -3.0),
        ("float64", b"\x00\x00\x00\x00\x00\x00\x08\xc0", -3.0),
    ],
)
def test_stored_bytes_have_exact_values(encoding, raw, value):
    assert decode(raw + raw, encoding=encoding, channels=2).tolist() == [[value, value]]


def test_a_signalling_nan_is_read_as_nan_and_nothing_more():
    assert np.isnan(decode(b"\x00\x00\xa0\x7f", encoding="float32", channels=1)).all()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-(2**23), 2**23 - 1), min_size=1, max_size=50))
def test_every_24_bit_code_comes_back(codes):
    values = np.array(codes, dtype=float)[:, None] * LSB
    assert np.array_equal(decode(encode(values, encoding="pcm24"), encoding="pcm24", channels=1), values)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-1, 1), min_size=1, max_size=50))
def test_quantisation_errs_by_half_a_step_at_most(values):
    samples = np.array(values)[:, None]
    back = decode(encode(samples, encoding="pcm24"), encoding="pcm24", channels=1)
    # 1 - 2**-25 and above have no nearer code than 1 - LSB
    assert np.all(np.abs(back - np.minimum(samples, 1 - LSB)) <= LSB / 2)
