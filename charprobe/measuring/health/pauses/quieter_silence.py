"""Silence that is quieter than the noise beside a quiet tone, with the stage off: a gentle gate."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.path.under_tones import bits_of, rounding_db
from charprobe.measuring.heard import heard_in
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.wording import number_text

FROM_HZ = 300.0  # below, a tone's fit takes noise with it, and hum stands
LEAST_DB, SURE = 0.5, 6.0  # that is told, and standard uncertainties
OVER_ROUNDING_DB = 3.0  # noise that is no more is made by the tone


def check_quieter_silence(bypass: Take) -> list[Health]:
    """Compare the noise in silence with that beside a tone so quiet that nothing acts on it: ``idle-mute``.

    A stage may lower what is quiet; a path that does so lowers the stage's noise, too.
    """
    for segment in held(bypass, Silence):
        heard = heard_in(bypass, segment)
        if heard.silent is None or heard.beside_tone is None or heard.muted:
            continue
        shared = min(heard.silent.spectrum_hz.size, heard.beside_tone.spectrum_hz.size)
        hz, silent_db = heard.silent.spectrum_hz[-shared:], heard.silent.spectrum_dbfs_per_hz[-shared:]
        least_db = rounding_db(bits_of(bypass), bypass.source.rate_hz) + OVER_ROUNDING_DB
        asked = (hz > FROM_HZ) & (silent_db > least_db)
        if np.count_nonzero(asked) < shared / 2:
            continue
        less_db = (heard.beside_tone.spectrum_dbfs_per_hz[-shared:] - silent_db)[asked]
        std_db = np.hypot(heard.silent.spectrum_std_db[-shared:], heard.beside_tone.spectrum_std_db[-shared:])
        weight = std_db[asked] ** -2
        mean_db = float(less_db @ weight / weight.sum())
        if min(mean_db, float(np.median(less_db))) > max(LEAST_DB, SURE * float(weight.sum()) ** -0.5):
            return [_told(bypass, mean_db)]
    return []


def _told(bypass: Take, less_db: float) -> Health:
    message = (
        f"With the stage off noise is {number_text(less_db, 1)} dB quieter in silence than beside a quiet "
        f"tone ({bypass.label}): a gate or a noise suppressor is in the path. No noise figure is given. Turn "
        "it off and retake. The rest is kept, marked"
    )
    return Health("idle-mute", "warn", message, channel=bypass.channel, withholds=("noise",))
