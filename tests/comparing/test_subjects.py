import pytest
from made_profiles import B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.values.errors import ProfileError


def test_the_same_recording_twice_is_refused():
    with pytest.raises(ProfileError, match=r"profiles 1 and 3 are of the same recording"):
        compare_profiles([made_profile(B), made_profile(D), made_profile(B)])
    with pytest.raises(ProfileError, match="at least two"):
        compare_profiles([made_profile(B)])
