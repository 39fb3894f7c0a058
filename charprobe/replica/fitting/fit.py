"""From a capture and its bypass to a replica: the only place where the steps of a fit meet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from charprobe import __version__
from charprobe.files.sound.source import Source
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture, judge_pair
from charprobe.placing.recognise import recognise
from charprobe.profile.profile import Profile
from charprobe.replica.fitting.chain_fit import fit_chain
from charprobe.replica.fitting.first_cell import first_cell
from charprobe.replica.fitting.found import Found
from charprobe.replica.fitting.pair import Pair
from charprobe.replica.fitting.proof import Proved, prove_on_programme
from charprobe.replica.fitting.sentences import disagreements, notes_of
from charprobe.replica.model import Replica, SourceFile
from charprobe.stimulus.kinds.programme import Programme
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.errors import ReplicaError
from charprobe.values.one_thread import on_one_thread

Told = Callable[[float, str], None]


def silent(share: float, doing: str) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class Fit:
    """A replica, and the gains of its proof where the capture holds programme."""

    replica: Replica
    proved: Proved | None


def fit_replica(
    capture: Source,
    stimulus: Stimulus | None = None,
    *,
    bypass: Source,
    channel: int,
    setting: str,
    profile: Profile | None = None,
    jobs: int = 1,
    told: Told = silent,
) -> Fit:
    """Fit a model that runs to one channel of one setting, and prove it on programme the fit never hears.

    Parameters
    ----------
    capture, bypass : Source
        The stimulus through the stage, and with the stage off; same path.
    stimulus : Stimulus, optional
        What was played; left out, the sound itself says which shipped recipe it is.
    channel : int >= 1
        Channel of the capture.
    setting : str
        The user's name of the setting.
    profile : Profile, optional
        Of this capture; left out, it is measured.
    jobs : int
        Threads at the same time; the replica does not depend on it.
    told : callable
        Gets the share that is done, 0 to 1, and what is being done.

    Raises
    ------
    AlignmentError
        If the stimulus is not in the capture or the bypass.
    ReplicaError
        If a finding stops: a bypass that is the capture, damage, a profile of another capture.
    """
    if profile is not None and profile.capture.sha256 != capture.sha256():
        raise ReplicaError(
            f"{profile.setting}: the profile is of {profile.capture.file}, not of {capture.name} as it is "
            "now: its numbers would start the fit elsewhere; measure this capture again, or leave the "
            "profile out"
        )
    told(0.0, "placing")
    stimulus = stimulus or recognise(capture, min(channel, capture.channels) - 1)
    judged = judge_capture(capture, stimulus, channel - 1)
    dry = judge_capture(bypass, stimulus, min(channel, bypass.channels) - 1)
    _refuse(judged, dry)
    if profile is None:
        told(0.02, "measuring")
        profile = characterise_judged(judged, dry, setting=setting)
    return _fit(judged, dry, profile, jobs, told)


def _refuse(capture: Judged, bypass: Judged) -> None:
    """Refuse what would fit a fault instead of the stage; what is spoiled in places is left out."""
    found = judge_pair(capture, bypass)
    stops = [
        item for item in found if item.severity == "stop" and (item.start_s is None or item.end_s is None)
    ]
    if stops:
        raise ReplicaError(
            f"{capture[0].label}: no model is fitted to a capture with a fault: {stops[0].code}: "
            f"{stops[0].message}"
        )


def fit_judged(capture: Judged, bypass: Judged, profile: Profile) -> Fit:
    """Fit a judged capture against a judged bypass, which may serve many; see `fit_replica`."""
    _refuse(capture, bypass)
    return _fit(capture, bypass, profile, 1, silent)


@on_one_thread
def _fit(capture: Judged, bypass: Judged, profile: Profile, jobs: int, told: Told) -> Fit:
    wet, dry = capture[0], bypass[0]
    pair = Pair(wet, dry)
    noise = pair.noise(gain_db=first_cell(profile).makeup_db)
    if noise.heard and profile.measured("static.low_level_gain") is None:
        noise = replace(noise, heard=1.0, told=False)  # nobody vouches for the gain
    found = fit_chain(
        pair.seal(),
        profile,
        noise=noise,
        jobs=jobs,
        told=lambda share: told(0.1 + 0.85 * share, "fitting"),
    )
    pair = replace(pair, late=found.late)
    told(0.96, "proving")
    proved = prove_on_programme(found.chain, pair, noise=found.noise)
    told(1.0, "done")
    return Fit(_replica(found, pair, profile, proved, noise.wet), proved)


def _replica(found: Found, pair: Pair, profile: Profile, proved: Proved | None, noise: float) -> Replica:
    wet, dry = pair.wet, pair.dry
    tones = [tone for segment in wet.stimulus.alike for tone in segment.tones]
    levels = [tone.level_dbfs + dry.alignment.gain_db for tone in tones] or [-60.0, 0.0]
    latency = (wet.alignment.later_than(dry.alignment).value + found.late) / pair.rate_hz
    chain = replace(
        found.chain,
        polarity=1 if wet.alignment.polarity * dry.alignment.polarity > 0 else -1,
        latency_s=float(np.clip(latency, -10, 10)),
    )
    differing = disagreements(chain, profile)
    shown = [proved.proof] if proved else []
    # the stimulus has pitches and levels that programme may not have
    proofs = tuple(replace(one, worst_own_db=max(one.worst_own_db, found.worst_own_db)) for one in shown)
    lack = max(1.0, found.lack, proved.score / found.score if proved is not None and found.score else 1.0)
    programme = bool(wet.stimulus.of_kind(Programme))
    notes = notes_of(found, proved, profile, rate_hz=pair.rate_hz, programme=programme, differing=differing)
    return Replica(
        schema="charprobe-replica-1",
        setting=profile.setting,
        channel=wet.channel + 1,
        rate_hz=wet.source.rate_hz,
        chain=chain,
        posterior=found.posterior(lack),
        lowest_dbfs=min(levels),
        highest_dbfs=max(levels),
        highest_peak_dbfs=max(levels),
        unheard_db=float(np.clip(found.error_db, -400, 400)),
        noise_dbfs=float(20 * np.log10(max(noise, 1e-9) * np.sqrt(2))),
        proofs=proofs,
        equally_good=found.equally_good,
        disagreements=differing,
        notes=notes,
        sources=(
            SourceFile("capture", wet.source.name, wet.source.sha256()),
            SourceFile("bypass", dry.source.name, dry.source.sha256()),
        ),
        made_with=f"charprobe {__version__}",
    )
