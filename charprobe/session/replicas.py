"""Replicas of a session: fitted beside the profile of each capture, and told in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from charprobe.measuring.health.judge import Judged
from charprobe.profile.profile import Profile
from charprobe.session.parts import own_fault
from charprobe.values.errors import CharprobeError


def with_replica(capture: Judged, bypass: Judged, profile: Profile, path: Path) -> Profile:
    """Fit a replica, write it to `path`, and return the profile with its proof.

    Where no model can be fitted, the profile is as it was, with a sentence that says why.
    """
    # other sessions need neither compiler nor signal package
    from charprobe.replica.fitting.fit import fit_judged  # noqa: PLC0415  # loaded where it is asked for
    from charprobe.replica.fitting.into_profile import with_proof  # noqa: PLC0415  # likewise

    try:
        fit = fit_judged(capture, bypass, profile)
    except Exception as error:  # a fault of ours, too, leaves what is measured as it is
        why = error if isinstance(error, CharprobeError) else own_fault(error)
        return replace(profile, findings=(*profile.findings, f"No replica: {why}"))
    fit.replica.save(path, force=True)
    return with_proof(profile, fit.proved, sentence=" ".join(fit.replica.notes[:2]))
