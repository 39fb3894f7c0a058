"""The proof of a replica put into the profile of the same capture."""

from __future__ import annotations

from dataclasses import replace

from charprobe.profile.entry import Entry, Table, unmeasured
from charprobe.profile.profile import Profile
from charprobe.replica.fitting.proof import Proved
from charprobe.values.quantity import Quantity

NAMES = ("replica.residual", "replica.gain_error", "replica.explained")
ON = "programme of the stimulus, 18 s or so, which the fit did not hear; interval from its seconds"


def with_proof(profile: Profile, proved: Proved | None, *, sentence: str) -> Profile:
    """Return the profile of a capture with quantities, curve and sentence of its fit.

    Without a proof, as where the capture holds no intact programme, the quantities say so.
    """
    found = (*profile.findings, sentence)
    if proved is None:
        lacking = unmeasured(NAMES, "the capture holds no intact programme", "capture `standard` or `full`")
        return replace(profile, quantities={**profile.quantities, **lacking}, findings=found)
    proof, gains = proved.proof, proved.gains
    readings = {
        NAMES[0]: Quantity(proof.residual_db, *proved.residual_interval_db, "dB"),
        NAMES[1]: Quantity(proof.gain_error_db, *proved.gain_error_interval_db, "dB"),
        NAMES[2]: Quantity(proof.explained, proof.explained, proof.explained, "1"),
    }
    units = {"time_s": "s", "measured_db": "dB", "predicted_db": "dB"}
    curve = Table({name: getattr(gains, name).tolist() for name in units}, units)
    return replace(
        profile,
        quantities={**profile.quantities, **{name: Entry(one, ON) for name, one in readings.items()}},
        curves={**profile.curves, "replica_gain": curve},
        findings=found,
    )
