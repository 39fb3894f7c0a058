"""Two made profiles compared, and one of a setting captured again."""

import dataclasses

from made_profiles import made_profile

from charprobe.comparing.compare import compare_profiles


def pair(first, second):
    return compare_profiles([made_profile(first), made_profile(second)])


def verdicts(comparison):
    return {item.name: item.verdict for item in comparison.differences}


def repeat(setting, number, gain_db):
    profile = made_profile(dataclasses.replace(setting, makeup_db=gain_db))
    capture = dataclasses.replace(profile.capture, sha256=f"{number:064x}")
    return dataclasses.replace(profile, capture=capture)
