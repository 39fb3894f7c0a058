"""Which harmonics of the measured tones a replica makes otherwise."""

from __future__ import annotations

import numpy as np

from charprobe.profile.entry import flags, numbers
from charprobe.profile.profile import Profile
from charprobe.replica.chain import play_take
from charprobe.replica.fitting.among_filters import phasors
from charprobe.replica.parts import Chain
from charprobe.values.wording import number_text

ORDERS = np.arange(1, 6)
SEEN_DBC, MISSED_DB = -60.0, 3.0  # what is fainter a replica need not have; what is further off is missed
LENGTH_S, SETTLED_S, LEAST = 1.0, 0.2, 1e-7


def missed_harmonics(chain: Chain, profile: Profile, *, rate_hz: int) -> str:
    """A sentence on the greatest missed harmonic of each pitch, of its loudest and its most coloured tone."""
    if (table := profile.curves.get("harmonics")) is None:
        return ""
    hz, dbfs = (numbers(table, name) for name in ("frequency_hz", "input_dbfs"))
    settled = flags(table, "settled", missing=True)
    levels = np.stack([numbers(table, f"h{n}_dbc") for n in ORDERS[1:]], axis=1)
    greatest, n, words = np.fmax.reduce(levels, axis=1), np.arange(round(LENGTH_S * rate_hz)), []
    for pitch in np.unique(hz).tolist():
        told = np.flatnonzero((hz == pitch) & np.isfinite(greatest) & settled)
        missed = []
        for row in {told[np.argmax(of[told])] for of in (dbfs, greatest) if told.size}:
            tone = 10 ** (dbfs[row] / 20) * np.cos(2 * np.pi * pitch / rate_hz * n)
            made = play_take(chain, tone, rate_hz=rate_hz).sound[-round(SETTLED_S * rate_hz) :, 0]
            size = np.abs(phasors(made, ORDERS, pitch / rate_hz)) + LEAST
            both = zip(ORDERS[1:], levels[row], 20 * np.log10(size[1:] / size[0]), strict=True)
            missed += [
                (max(one, other), f"H{order} of {pitch:.0f} Hz at {number_text(dbfs[row], 0)} dBFS is "
                 f"{number_text(one, 0)} dB re the tone, {number_text(other, 0)} dB in the replica")
                for order, one, other in both
                if max(one, other) > SEEN_DBC and abs(one - other) > MISSED_DB
            ]  # fmt: skip
        words += [word for _, word in sorted(missed)[-1:]]
    sentence = f"Harmonics are not all met: {'; '.join(words)}. What makes them there follows another law."
    return sentence if words else ""
