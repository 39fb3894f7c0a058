import numpy as np
from judged_pairs import judged_path, recorded

RATE_HZ = 48_000


def test_rumble_below_hearing_is_told():
    time_s = np.arange(recorded("plain-wire", 25.8).shape[0]) / RATE_HZ
    sway = np.sin(2 * np.pi * (9 * time_s + 0.3 * np.sin(2 * np.pi * 0.7 * time_s)))
    found = judged_path(recorded("plain-wire", 25.8) + 10 ** (-70 / 20) * sway[:, None], "rumble")[1]
    assert {item.code for item in found if item.severity != "note"} == {"foreign-noise"}
