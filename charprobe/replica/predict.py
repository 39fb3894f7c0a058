"""What a setting will do to programme, in numbers: on made-up material of five kinds, or the user's own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from charprobe.files.sound.loudness import LoudnessMeter, channel_weights
from charprobe.files.sound.sound_file import open_capture
from charprobe.replica.chain import play_take
from charprobe.replica.model import Replica
from charprobe.replica.parts import Colour
from charprobe.replica.preview import BEYOND_DB, change_lu
from charprobe.replica.take import check_take
from charprobe.stimulus.kinds.material import Material, generate
from charprobe.values.arrays import Array, Flags, Index
from charprobe.values.errors import ReplicaError

RATE_HZ = 48_000
SECONDS = 8.0
DRIVES_DBFS = (-18.0, -12.0, -6.0)  # peaks of the dry take
KINDS: tuple[tuple[str, Material], ...] = (
    ("a close voice", "speech"), ("plucked strings", "plucked"), ("drums", "drums"),
    ("held chords", "sustained"), ("a small band", "music"),
)  # fmt: skip
LEAST_S = 0.5
MOST_SECONDS = 120.0  # of a user's file: its loudest stretch of that length
_STEP_S = 0.001
_SOUND_DB = 40.0  # below the loudest moment: from here on there is sound
_RISE_DB = 9.0
_APART_S = 0.12
_ANSWERED_DB = 1.0


@dataclass(frozen=True)
class Prediction:
    """What one setting does to one material at one drive.

    Attributes
    ----------
    setting, material : str
        Names.
    peak_dbfs : float
        Peak of the dry take.
    mean_db, typical_db, most_db : float
        Reduction over the moments with sound: mean, median, largest.
    crest_change_db, loudness_change_lu : float or None
        After less before; None where loudness cannot be had.
    attack_through_db : float or None
        By how much the first 10 ms of an attack stand out further from its body (60 to 110 ms) than in the
        dry take: the median of those that the setting answers; None with fewer than three of them.
    swing_db : float
        Between the tenth and the ninetieth part of the reduction over the moments with sound.
    let_go_s : float or None
        Time that the reduction stays above half its height after the strongest attack.
    distortion_db : float or None
        What the colour adds to the loudest quarter of a second, re that sound; None without colour.
    beyond : bool
        Whether the take is louder than anything the setting was measured with.
    poor : bool
        Whether the replica does not come close enough to stand for the setting.
    other_rate : bool
        Whether it is a take of another rate than the capture.
    attack_share : float or None
        `attack_through_db` over how far the reduction rises for these attacks: none for an instant attack.
    """

    setting: str
    material: str
    peak_dbfs: float
    mean_db: float
    typical_db: float
    most_db: float
    crest_change_db: float
    loudness_change_lu: float | None
    attack_through_db: float | None
    swing_db: float
    let_go_s: float | None
    distortion_db: float | None
    beyond: bool
    poor: bool = False
    other_rate: bool = False
    attack_share: float | None = None


@lru_cache(maxsize=len(KINDS))
def made_up(kind: Material) -> Array:
    """Return built-in material with a peak of 0 dBFS, shape (n,)."""
    sound = generate(kind, seconds=SECONDS, rate_hz=RATE_HZ, rng=np.random.default_rng(7))
    return np.asarray(sound / np.abs(sound).max())


def predict(replica: Replica, *, drives_dbfs: Iterable[float] = DRIVES_DBFS) -> tuple[Prediction, ...]:
    """Tell what a setting will do to the built-in kinds of material at several drives."""
    return tuple(
        predict_sound(
            replica, 10 ** (drive / 20) * made_up(kind)[:, None], rate_hz=RATE_HZ, material=material
        )
        for material, kind in KINDS
        for drive in drives_dbfs
    )


def predict_file(replica: Replica, path: str | Path) -> Prediction:
    """Tell what a setting will do to a dry take, at the level it has."""
    take = open_capture(path)
    check_take(take)
    if take.frames < LEAST_S * take.rate_hz:
        raise ReplicaError(
            f"{take.path}: lasts {take.frames / take.rate_hz:.2g} s; {LEAST_S:g} s at least are needed to "
            "tell what a setting does: choose a longer take"
        )
    size = min(take.frames, round(MOST_SECONDS * take.rate_hz))
    step = max(1, take.rate_hz)
    powers = np.array(
        [np.sum(take.read_frames(start, start + step) ** 2) for start in range(0, take.frames, step)]
    )
    whole = np.concatenate([[0.0], np.cumsum(powers)])
    span = -(-size // step)
    start = int(np.argmax(whole[span:] - whole[:-span])) * step if span < len(whole) else 0
    sound = take.read_frames(start, start + size)
    told = predict_sound(replica, sound, rate_hz=take.rate_hz, material=take.name)
    return replace(told, other_rate=take.rate_hz != replica.rate_hz)


def predict_sound(replica: Replica, sound: Array, *, rate_hz: int, material: str) -> Prediction:
    """Tell what a setting will do to dry sound, shape (n, channels), as it is."""
    chain = replica.chain
    played = play_take(chain, sound, rate_hz=rate_hz)
    size = max(1, round(_STEP_S * rate_hz))
    count = sound.shape[0] // size
    dry, wet, gain_db = (
        part[: count * size].reshape(count, -1) for part in (sound, played.sound, played.gain_db)
    )
    reduction = chain.cell.makeup_db - gain_db.min(axis=1)
    dry_db = 20 * np.log10(maximum_filter1d(np.abs(dry).max(axis=1), 20, origin=9) + 1e-12)  # last 20 ms
    sounding = dry_db > dry_db.max() - _SOUND_DB
    onsets = _onsets(dry_db)
    through_db, share = _through(np.mean(dry**2, axis=1), np.mean(wet**2, axis=1), reduction, onsets)
    peak_dbfs = float(20 * np.log10(np.abs(sound).max()))
    heard = reduction[sounding]
    return Prediction(
        setting=replica.setting,
        material=material,
        peak_dbfs=peak_dbfs,
        mean_db=float(heard.mean()),
        typical_db=float(np.median(heard)),
        most_db=float(heard.max()),
        crest_change_db=_crest_db(played.sound) - _crest_db(sound),
        loudness_change_lu=change_lu(*(_metered(one, rate_hz) for one in (sound, played.sound))),
        attack_through_db=through_db,
        swing_db=float(np.subtract(*np.quantile(heard, [0.9, 0.1]))),
        let_go_s=_let_go_s(reduction, onsets),
        distortion_db=_distortion_db(replica, sound, played.sound, rate_hz),
        beyond=peak_dbfs > replica.highest_peak_dbfs + BEYOND_DB,
        poor=not replica.stands,
        attack_share=share,
    )


def _crest_db(sound: Array) -> float:
    return float(20 * np.log10(np.abs(sound).max() / np.sqrt(np.mean(sound**2))))


def _metered(sound: Array, rate_hz: int) -> LoudnessMeter:
    meter = LoudnessMeter(rate_hz=rate_hz, weights=channel_weights(sound.shape[1]))
    meter.add(sound)
    return meter


def _onsets(level_db: Array) -> Index:
    """Cells where the level has risen by `_RISE_DB` within 10 ms, the first of each attack."""
    rise = level_db[10:] - level_db[:-10]
    loud = level_db[10:] > level_db.max() - 25
    found: list[int] = []
    for k in (np.flatnonzero((rise > _RISE_DB) & loud) + 10).tolist():
        if not found or k - found[-1] > _APART_S / _STEP_S:
            found.append(k)
    return np.array(found, dtype=np.int64)


def _through(
    dry: Array, wet: Array, reduction: Array, onsets: Index
) -> tuple[float, float] | tuple[None, None]:
    """Median change of the first 10 ms of an attack against its body, and its share of what answers it.

    One that finds the reduction up already tells nothing of the pace.
    """
    changes = []
    for k in onsets[onsets + 110 < dry.size].tolist():
        first, later = slice(k, k + 10), slice(k + 60, k + 110)
        ratios = [
            10 * np.log10((side[first].mean() + 1e-20) / (side[later].mean() + 1e-20)) for side in (dry, wet)
        ]
        rise = reduction[k : k + 110].max() - reduction[max(k - 15, 0)]
        if rise > _ANSWERED_DB:
            changes.append((ratios[1] - ratios[0], (ratios[1] - ratios[0]) / rise))
    if len(changes) < 3:
        return None, None
    through, share = np.median(changes, axis=0).tolist()
    return through, share


def _let_go_s(reduction: Array, onsets: Index) -> float | None:
    """Time that the reduction stays above half of its height after the attack that raised it most."""
    smooth = uniform_filter1d(reduction, 5)
    best: tuple[float, float] | None = None
    for k, stop in pairwise([*onsets.tolist(), reduction.size]):
        before, after = smooth[max(k - 15, 0)], smooth[k:stop]
        top = float(after.max(initial=before))
        below: Flags = after < (before + top) / 2
        below[: int(np.argmax(after)) + 1] = False
        if top - before > 1 and below.any() and (best is None or top - before > best[0]):
            best = (top - float(before), float(np.argmax(below)) * _STEP_S)
    return best[1] if best else None


def _distortion_db(replica: Replica, dry: Array, wet: Array, rate_hz: int) -> float | None:
    """What the stage with its colour gives less what it gives without, in the loudest quarter second."""
    chain = replica.chain
    if not chain.colour.amplitude:
        return None
    plain = play_take(replace(chain, colour=Colour()), dry, rate_hz=rate_hz).sound
    size = min(rate_hz // 4, wet.shape[0])
    energy = np.concatenate([[0.0], np.cumsum(np.sum(wet**2, axis=1))])
    start = int(np.argmax(energy[size:] - energy[:-size]))
    at = slice(start, start + size)
    one, other = wet[at].ravel(), plain[at].ravel()
    left = one - other * (one @ other) / max(float(other @ other), 1e-30)
    return float(10 * np.log10(max(float(left @ left), 1e-30) / max(float(one @ one), 1e-30)))
