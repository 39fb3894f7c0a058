"""Whether a bypass is flat and came by the path of the setting: what it has, the setting must have, too."""

from __future__ import annotations

import math
from collections.abc import Set
from functools import lru_cache

import numpy as np

from charprobe.measuring.health.file.sample_facts import FINEST_BITS, gather_sample_facts
from charprobe.measuring.health.path.swept_answer import swept_answer
from charprobe.measuring.health.path.under_tones import HANN_NOISE_BINS, MEDIAN_OF_POWER, under_tones
from charprobe.measuring.health.pauses.quiet import quiet_spectrum
from charprobe.measuring.health.timeline.steady_gain import gain_follows, steady_gains
from charprobe.placing.take import Take, held, once
from charprobe.placing.track import finite
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.arrays import Array, Complex
from charprobe.values.fast_length import fast_length
from charprobe.values.wording import number_text, signed_text

WITHHELD = ("response", "static.makeup_gain", "noise.change", "noise.change_at_equal_level")
OF_TIME = {"timing-jump", "gap-edited", "reordered", "rate-mislabelled", "rate-converted", "lossy-coded"}
OF_NOISE = {
    "few-bits", "lossy-coded", "rate-converted", "spur", "hum", "foreign-noise", "idle-mute", "low-level",
}  # fmt: skip
OF_RESPONSE = {
    "two-paths", "diffuse-tail", "lossy-coded", "rate-converted", "automatic-gain", "timing-jump", "dropout",
    "clipped",
}  # fmt: skip
MOST_APART_PPM = 10.0  # two clocks of one desk keep their distance to 2 ppm over an evening
CLEAR_DB, FEWEST = 6.0, 4  # of noise under one tone, and tones
FROM_HZ, TO_SHARE, PER_OCTAVE = 30.0, 1 / 3, 3  # bands in which paths are flat; the rate's share
REFERENCE_HZ = LOW_HZ, HIGH_HZ = 700.0, 1500.0
LEAST_BITS = 12  # of words whose rounding, which pauses may lack, is no gain of the treble
LEAST_DB = 0.06  # by which the bypass must bend; what a band is read to at noise of -85 dBFS is 0.01
FLAT_HZ, MOST_UNEVEN_DB = (150.0, 12_000.0), 0.25  # couplings and converters leave 0.1 there
MOST_LATE_S = 0.0005  # at 150 Hz a coupling of 20 Hz leaves 0.15 ms
MOST_TURNED_DEG = 12.0  # around 1 kHz, where a coupling of 20 Hz and 5 microseconds of delay leave 3
NEAR_DB, EVENS_OUT = 6.0, 0.1  # around the sweep's level, and of that, by which a gain heeds it
FLAT = 0.5  # of that at most, by which the setting then bends


def check_other_path(wet: Take, bypass: Take, *, told: Set[str]) -> list[Health]:
    """Notice a bypass of another interface, another day or a path that was changed: code ``other-path``.

    Parameters
    ----------
    wet, bypass : Take
        Both captures.
    told : set of str
        Codes found in either: what they explain is no sign of another path.

    Notes
    -----
    A stage multiplies the noise ahead of it by the gain it has at a tone and adds its own, and the recorder
    adds more: noise under a tone is no less than that of the bypass, or by no more than a gain below 1. A
    response of the bypass that the setting does not have would be one that the
    stage makes good, band by band.
    """
    signs = [
        *(() if told & OF_TIME else _clocks(wet, bypass)),
        *(() if told & OF_NOISE else _noise(wet, bypass)),
        *(() if told & OF_RESPONSE else _response(wet, bypass)),
    ]
    if not signs:
        return []
    message = (
        f"The bypass {bypass.label} did not come by the path of {wet.label}: {', and '.join(signs)}. Another "
        "interface or day, an equaliser, or a source of noise in one of the takes? What stands against the "
        "bypass is that of two paths and not given. Record the bypass again beside the setting. The rest is "
        "kept, marked; levels are those of the bypass"
    )
    return [Health("other-path", "warn", message, channel=wet.channel, withholds=WITHHELD)]


def check_uneven_path(bypass: Take) -> list[Health]:
    """Notice a path that is not flat with the stage off: code ``uneven-path``.

    Against the bypass that cancels; not in harmonics, and not in the levels that a stage meets. A path is
    flat that neither lowers nor delays. One that is, and whose tones have another gain than its sweep,
    follows the sound: code ``automatic-gain``.
    """
    bands = _bands_db(bypass)
    if bands is None:
        return []
    middle_hz, gain_db, swept_db = bands
    within = (middle_hz > FLAT_HZ[0]) & (middle_hz < FLAT_HZ[1])
    at = int(np.argmax(np.abs(np.where(within, gain_db, 0.0))))
    how = f"departs from flat by {signed_text(float(gain_db[at]), 2)} dB"
    if abs(gain_db[at]) < MOST_UNEVEN_DB:
        late_s, turned_deg = _late_s(bypass)
        late_s = np.where(within, late_s[: within.size], 0.0)
        at = int(np.argmax(np.abs(late_s)))
        how = f"is flat, but late by {signed_text(1e3 * float(late_s[at]), 1)} ms against 1 kHz"
        if abs(late_s[at]) < MOST_LATE_S and abs(turned_deg) > MOST_TURNED_DEG:
            how = f"is flat, but turns phases by {number_text(abs(turned_deg), 0)} degrees, without delay,"
            at = int(np.argmin(np.abs(middle_hz - 1000)))
        elif abs(late_s[at]) < MOST_LATE_S:
            return _follows(bypass, swept_db)
    message = (
        f"With the stage off the path {how} at {number_text(float(middle_hz[at]), 0)} Hz ({bypass.label}): "
        "an equaliser, a low cut, a phase rotator or a microphone is in it. Responses are free of that; "
        "harmonics, times and noise carry it, and a stage behind it meets other levels than were played. "
        f"Switch it off and retake. {ALL_GIVEN}"
    )
    return [Health("uneven-path", "warn", message, channel=bypass.channel)]


def _follows(bypass: Take, swept_db: float) -> list[Health]:
    """Notice tones whose gain is not the one that the sweep had at their frequency."""
    held_db = [g.gain_db for g in steady_gains(bypass) if LOW_HZ < g.frequency_hz < HIGH_HZ]
    lost_db = swept_db - float(np.median(held_db)) if len(held_db) >= FEWEST else 0.0
    if abs(lost_db) < MOST_UNEVEN_DB:
        return []
    how = f"is {number_text(abs(lost_db), 2)} dB {'lower' if lost_db > 0 else 'higher'}"
    return [gain_follows(bypass, f"{how} for tones that last than in a sweep")]


def _clocks(wet: Take, bypass: Take) -> list[str]:
    apart_ppm = bypass.alignment.drift_ppm.value - wet.alignment.drift_ppm.value
    if abs(apart_ppm) < MOST_APART_PPM:
        return []
    return [f"its clock runs {signed_text(apart_ppm, 0)} ppm off"]


def _noise(wet: Take, bypass: Take) -> list[str]:
    """Noise that the bypass has under most tones, close to them and in every band, and the setting lacks."""
    ours = {(under.tone.start, under.tone.frequency_hz): under for under in under_tones(wet)}
    missing = []
    for theirs in under_tones(bypass):
        own = ours.get((theirs.tone.start, theirs.tone.frequency_hz))
        if own is not None:
            lowered_db = min(0.0, own.gain_db - theirs.gain_db)
            less = [theirs.near_db - own.near_db, *(theirs.density_db - own.density_db)]
            missing.append(min(less) + lowered_db)
    if len(missing) < FEWEST or (usual_db := float(np.median(missing))) < CLEAR_DB:
        return []
    return [f"its noise is at least {number_text(usual_db, 0)} dB louder under the same tones"]


def _response(wet: Take, bypass: Take) -> list[str]:
    """A bend of the bypass's response that the setting's has not, and no gain that heeds level evens out."""
    own, theirs = _bands_db(wet), _bands_db(bypass)
    if own is None or theirs is None or _evens_out(wet):
        return []
    (middle_hz, ours_db, _), (_, theirs_db, _) = own, theirs
    apart = theirs_db - ours_db
    at = int(np.argmax(np.abs(apart)))
    if abs(apart[at]) < LEAST_DB or float(np.abs(ours_db).max()) > FLAT * abs(apart[at]):
        return []
    bend = f"{signed_text(float(apart[at]), 2)} dB at {number_text(float(middle_hz[at]), 0)} Hz"
    return [f"its response departs by {bend}, where the setting's is flat"]


def _evens_out(wet: Take) -> bool:
    """Whether the gain of tones about as loud as the first sweep heeds their level."""
    swept_dbfs = held(wet, Sweep)[0].spec.level_dbfs
    near = [g for g in steady_gains(wet) if abs(g.level_dbfs - swept_dbfs) < NEAR_DB]
    moves_db = max((g.gain_db for g in near), default=0.0) - min((g.gain_db for g in near), default=0.0)
    return moves_db > EVENS_OUT * NEAR_DB


@once
def _bands_db(take: Take) -> tuple[Array, Array, float] | None:
    """Middles of third octaves, the gain of a take's first sweep in each re that around 1 kHz, and that."""
    segments, words = held(take, Sweep), take.source.once(gather_sample_facts)[take.channel]
    if not segments or words.coarse is not None or (words.bits_used or FINEST_BITS) < LEAST_BITS:
        return None
    rate_hz, cut = take.stimulus.rate_hz, take.segment(segments[0])
    edges_hz = _edges_hz(rate_hz)
    size = fast_length(cut.samples.size)
    heard, wanted = (
        _powers(finite(cut.samples), size, rate_hz),
        _played_powers(segments[0].spec, size, rate_hz),
    )
    if (quiet := quiet_spectrum(take)) is not None:  # its noise is under the sweep, too
        noise = np.abs(_by_band(quiet.power, round(rate_hz / quiet.bin_hz), rate_hz))
        noise *= size * cut.samples.size / (4 * HANN_NOISE_BINS * MEDIAN_OF_POWER)
        heard = np.maximum(heard - noise, heard / 10)
    gain_db = 10 * np.log10(np.maximum(heard, 1e-30) / np.maximum(wanted, 1e-30))
    usual_db = float(gain_db[edges_hz.size])
    swept = int(np.sum(edges_hz[1:] <= segments[0].spec.to_hz))  # above is noise alone
    return np.sqrt(edges_hz[1:] * edges_hz[:-1])[:swept], gain_db[:swept] - usual_db, usual_db


def _late_s(take: Take) -> tuple[Array, float]:
    """How much later third octaves come than what lies around 1 kHz; by how many degrees that is turned."""
    answer = swept_answer(take)
    assert answer is not None
    sharp, bin_hz = answer
    rate_hz, size = take.stimulus.rate_hz, round(take.stimulus.rate_hz / bin_hz)
    turns = _by_band(sharp[1:] * sharp[:-1].conj(), size, rate_hz)
    late_s = -np.angle(turns) / (2 * np.pi * bin_hz)
    usual_s = float(late_s[_edges_hz(rate_hz).size])
    near = np.arange(round(LOW_HZ / bin_hz), round(HIGH_HZ / bin_hz))
    there = sharp[near] * np.exp(2j * np.pi * bin_hz * near * usual_s)
    turned_deg = float(np.degrees(np.angle(np.sum(there**2))) / 2)  # a turned sign is no turned phase
    return np.asarray(late_s[: _edges_hz(rate_hz).size - 1] - usual_s), turned_deg


def _edges_hz(rate_hz: int) -> Array:
    count = int(PER_OCTAVE * np.log2(TO_SHARE * rate_hz / FROM_HZ))
    return np.asarray(FROM_HZ * 2 ** (np.arange(count + 1) / PER_OCTAVE))


def _powers(samples: Array, size: int, rate_hz: int) -> Array:
    return np.abs(_by_band(np.abs(np.fft.rfft(samples, size)) ** 2, size, rate_hz))


def _by_band(bins: Array | Complex, size: int, rate_hz: int) -> Array | Complex:
    """Sums from edge to edge, above the last one, and from the reference up."""
    firsts = np.round(np.append(_edges_hz(rate_hz), REFERENCE_HZ) * size / rate_hz).astype(int)
    return np.add.reduceat(bins, firsts)[:-1]


@lru_cache(maxsize=8)
def _played_powers(spec: Sweep, size: int, rate_hz: int) -> Array:
    """The same of a sweep as it was played: where a capture's samples fall on it has no bearing."""
    return _powers(spec.at(np.arange(math.ceil(spec.length_s * rate_hz)) / rate_hz), size, rate_hz)
