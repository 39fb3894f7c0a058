"""Messages tell what was found, what is needed and what to do."""

from charprobe.values import errors


def test_a_short_segment_names_both_lengths_and_the_way_on():
    told = str(errors.SegmentTooShortError(found_s=0.0123, needed_s=0.5))
    assert "lasts 0.0123 s" in told and "needs 0.5 s" in told and "re-record" in told


def test_every_error_of_ours_can_be_caught_as_one():
    own = [value for value in vars(errors).values() if isinstance(value, type)]
    assert len(own) > 5
    assert all(issubclass(error, errors.CharprobeError) for error in own)
