"""A clock that does not run evenly: tones whose frequency wanders from one to the next."""

from __future__ import annotations

import numpy as np

from charprobe.placing.take import Take
from charprobe.placing.tone_clock import clock_errors_ppm, steady_tones, tone_phases
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.wording import number_text

MOST_STD_PPM = 2.0  # of a tone whose frequency is used
FEWEST = 8
LEAST_PPM = 1.0  # crystals keep 0.1 ppm within a take; compressors, filters and saturators move tones by 0.04
FAR_CLEAR = 20.0  # a clock that wanders widely blurs the tones that show it
CLEAR = 5.0  # times what noise makes the frequencies scatter by


def check_clock_wander(take: Take) -> list[Health]:
    """Compare the frequency of every steady tone with the one clock the capture was placed on.

    Parameters
    ----------
    take : Take
        A placed capture.

    Returns
    -------
    list of Health
        Code ``clock-drift``, a warning with the standard deviation of the clock; empty where it runs
        evenly or too few tones stand clear of the noise. The scatter is 1.48 times the median distance from
        the median, so a few tones that a device bends do not count.
    """
    stimulus = take.stimulus
    phases = tone_phases(take, steady_tones(stimulus), take.alignment.clock)
    each_ppm, std_ppm = clock_errors_ppm(phases, rate_hz=stimulus.rate_hz)
    if each_ppm.size == 0:
        return []
    wander_ppm = 1.4826 * float(np.median(np.abs(each_ppm - np.median(each_ppm))))
    sure = std_ppm < max(MOST_STD_PPM, wander_ppm / FAR_CLEAR)
    if np.count_nonzero(sure) < FEWEST:
        return []
    each_ppm, noise_ppm = each_ppm[sure], float(np.median(std_ppm[sure]))
    scatter_ppm = 1.4826 * float(np.median(np.abs(each_ppm - np.median(each_ppm))))
    if scatter_ppm < max(LEAST_PPM, CLEAR * noise_ppm):
        return []
    message = (
        f"Tone frequency wanders by {number_text(scatter_ppm, 0 if scatter_ppm >= 10 else 1)} ppm during the "
        f"take ({take.label}): two devices joined by a software rate matcher, tape, or a coder with loss? "
        "Phases and fast attacks are off by what the clock moved. Use one device for play and record, export "
        f"WAV or FLAC, and retake. {ALL_GIVEN}"
    )
    return [Health("clock-drift", "warn", message, channel=take.channel)]
