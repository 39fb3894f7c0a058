"""The response chapter: magnitude, phase and group delay from the sweeps, and what they amount to."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.half_power import REFERENCE_HZ
from charprobe.estimators.passage import Passage
from charprobe.estimators.response import Deconvolution, Response, deconvolve_sweep, octave_grid
from charprobe.estimators.response_shape import FEWEST_POINTS, ResponseShape, describe_response
from charprobe.measuring.chapters.lookup import Reduction, absent, counterpart
from charprobe.measuring.chapters.off_tone import OffTone, off_tone, tones_move
from charprobe.measuring.chapters.static.references import left_by_silence_db, moved_by_silence
from charprobe.placing.take import Take, held, once
from charprobe.profile.entry import Cell, Chapter, Entry, Published, Table, known, unmeasured
from charprobe.stimulus.kinds.segment import Segment, SegmentOf
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.arrays import Array, Complex, Flags
from charprobe.values.quantity import DB_PER_NEPER, DETECTED, Z95, Reading, Unmeasured
from charprobe.values.wording import number_text, signed_text

NAMES = (
    "response.low_corner",
    "response.high_corner",
    "response.shelf_gain",
    "response.shelf_corner",
    "response.tilt",
)
RESPONSE = {
    "frequency_hz": "Hz", "magnitude_db": "dB", "phase_deg": "deg", "drive_dbfs": "dBFS",
    "reduction_db": "dB", "magnitude_std_db": "dB", "phase_std_deg": "deg",
    "group_delay_s": "s", "group_delay_std_s": "s",
}  # fmt: skip
HARMONICS = {
    "order": "", "frequency_hz": "Hz", "level_dbc": "dBc", "level_std_db": "dB", "phase_deg": "deg",
    "phase_std_deg": "deg", "limit_dbc": "dBc", "drive_dbfs": "dBFS",
}  # fmt: skip
"""Columns of the tables and their units."""
RECIPE = "quick"
PER_OCTAVE, HARMONICS_PER_OCTAVE = 12, 6
LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0
MARGIN_S = 0.25
HIGHEST_ORDER = 5
SOUND_PIECES = 20  # of a sweep, each of which must hold some sound
SETTLE_S = 0.6  # under gain reduction the part of the sweep left out of the description, at its start
LAGS = 3.0  # times that a gain of one pole lags by, in which it settles
IDLE_DB = 0.1  # a reduction smaller than this is none
FOLLOWS = 0.01  # standard uncertainty of a gain that follows the sweep, as a share of its reduction
HEARD_DB = 0.2  # by which its detector may hear a low tone of a sweep as another level than a steady one
HEARD_SHARE = 0.5  # the same of what the response does: its detector may hear all of that, or nothing

MUCH_DB = 0.3  # left to go in quiet steps, from which a sweep shows no response
QUIETER_DB, QUIETER_STEP_DB = 40.0, 2.0  # below the drive, where a gate is looked for
FIGURE_OF_CHANGE_DB = 0.1


@dataclass(frozen=True)
class _Swept:
    """One sweep of the setting, over that of the bypass or over the stimulus."""

    drive_dbfs: float
    reduction_db: float | None
    response: Response
    parts: Deconvolution
    own: Response
    bypassed: bool
    moved: bool
    level_std_db: float
    heard_db: Array
    off: OffTone | None

    @property
    def unsure_db(self) -> Array:
        """Standard uncertainty in dB of each point from drifts and from a gain that follows the sweep."""
        follows_db = FOLLOWS * (self.reduction_db or 0.0)
        return np.hypot(self.heard_db, math.hypot(follows_db, self.level_std_db, self.off_db))

    @property
    def off_db(self) -> float:
        """Standard uncertainty in dB for what a settled tone denies of the response."""
        return self.off.by_db / Z95 if self.off is not None else 0.0

    @property
    def idle(self) -> bool:
        """Whether the sweep ran free of gain reduction, as far as is known."""
        return self.reduction_db is None or abs(self.reduction_db) < IDLE_DB

    @property
    def told(self) -> Flags:
        """Where the response stands out of the noise and of what its gain may do, then and soon after."""
        hz, heard = self.response.frequency_hz, np.abs(self.response.value) > DETECTED * self.response.std
        unsure = np.broadcast_to(DETECTED * self.unsure_db >= DB_PER_NEPER, hz.shape)
        unsure_hz = np.append(hz[unsure], math.inf)
        sure = unsure_hz[np.searchsorted(unsure_hz, hz)] > hz * math.exp(SETTLE_S / LAGS / self.parts.rate_s)
        return heard & sure & (hz >= self.settled_from_hz)

    @property
    def settled_from_hz(self) -> float:
        """Frequency from which the gain has had time to settle after the sweep's start, if it had to move."""
        return 0.0 if not self.moved else self.parts.from_hz * math.exp(SETTLE_S / self.parts.rate_s)


def response_chapter(wet: Take, bypass: Take | None, static: Reduction | None) -> Chapter:
    """Measure the response of a setting at each sweep; the quietest sweep gives the quantities.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass.
    static : Reduction or None
        The static curve, to tell which sweeps ran under gain reduction.
    """
    whole = sorted(held(wet, Sweep), key=lambda segment: segment.spec.level_dbfs)
    sweeps = [_swept(wet, bypass, segment, static) for segment in whole if _sounds(wet, segment)]
    if whole and not sweeps:
        reason = "nothing but silence where the sweep should be"
        return Chapter(unmeasured(NAMES, reason, "check the path and retake"))
    if not sweeps:
        return Chapter(quantities=absent(wet, Sweep, NAMES, recipe=RECIPE))
    first = sweeps[0]
    told = first.told
    heard_hz = first.response.frequency_hz[told]
    if heard_hz.size < FEWEST_POINTS or not heard_hz[0] <= REFERENCE_HZ < heard_hz[-1]:
        reason = "the sweep does not pass 1 kHz with enough points of settled gain on both sides"
        return Chapter(unmeasured(NAMES, reason, "play a longer sweep, quieter or over a wider range"))
    curves = {"response": _response_table(sweeps), "sweep_harmonics": _harmonics_table(sweeps)}
    health = tuple(sweep.off.told(wet, sweep.drive_dbfs) for sweep in sweeps if sweep.off is not None)
    restless_db = static.restless_db if static is not None else 0.0
    if restless_db > MUCH_DB:
        reason = f"even quiet steps had {restless_db:.1f} dB to go, and so may the gain have had in the sweep"
        return Chapter(unmeasured(NAMES, reason, "a recipe with longer steps and gaps"), curves, health)
    shape = describe_response(
        heard_hz,
        magnitude_db=first.response.magnitude_db[told],
        std_db=np.hypot(first.response.magnitude_std_db, np.hypot(first.heard_db, first.off_db))[told],
        moved_db=math.hypot(first.level_std_db, first.off_db),
        rate_hz=float(wet.stimulus.rate_hz),
    )
    conditions = _conditions(first)
    entries = {name: Entry(reading, conditions) for name, reading in _readings(shape).items()}
    return Chapter(
        quantities=entries,
        curves=curves,
        health=health,
        words=lambda published: _words(published, shape, sweeps),
    )


def _sounds(take: Take, segment: Segment) -> bool:
    """Whether a segment holds any sound through most of its length, and not digital silence."""
    cut = take.segment(segment, 0.0)
    count = cut.samples.size // SOUND_PIECES
    pieces = np.abs(cut.samples[: SOUND_PIECES * count]).reshape(SOUND_PIECES, -1)
    return bool(count) and bool(np.all(pieces.max(axis=1) > 0))


def passage_of(chapter: Chapter) -> Passage | None:
    """Return the linear response that a response chapter found with its quietest sweep; None without one.

    Its gain at 1 kHz is taken out: make-up is no filter.
    """
    table = chapter.curves.get("response")
    if table is None:
        return None
    frequency, size, phase, drive = (
        np.array([np.nan if cell is None else float(cell) for cell in table.columns[name]])
        for name in ("frequency_hz", "magnitude_db", "phase_deg", "drive_dbfs")
    )
    kept = (drive == np.nanmin(drive)) & np.isfinite(size) & np.isfinite(phase)
    if np.count_nonzero(kept) < 2:
        return None
    frequency, size = frequency[kept], size[kept]
    at_1khz = float(np.interp(1000, frequency, size))
    return Passage(frequency, size - at_1khz, np.unwrap(np.radians(phase[kept])))


def path_response(bypass: Take | None) -> Response | None:
    """Return the response of a path as the quietest sweep of its bypass shows it; None without one."""
    sweeps = [] if bypass is None else [each for each in held(bypass, Sweep) if _sounds(bypass, each)]
    quietest = min(sweeps, key=lambda segment: segment.spec.level_dbfs, default=None)
    return None if bypass is None or quietest is None else _linear(bypass, quietest)


def _swept(wet: Take, bypass: Take | None, segment: SegmentOf[Sweep], static: Reduction | None) -> _Swept:
    spec = segment.spec
    parts = _deconvolved(wet, segment)
    own = response = parts.linear(_grid(spec))
    same = counterpart(bypass, segment)
    drive_dbfs, bypassed = spec.level_dbfs, False
    if bypass is not None and same is not None and _sounds(bypass, same):
        rig = _linear(bypass, same)
        response, bypassed = own.relative_to(rig), True
        drive_dbfs += float(np.interp(1000, rig.frequency_hz, rig.magnitude_db))
    reduction = static.reduction_db_at(drive_dbfs) if static is not None else None
    moved = _moved(static, drive_dbfs) or moved_by_silence(wet) or tones_move(wet, spec.level_dbfs)
    drift_std_db = static.level_std_db if static is not None else 0.0
    level_std_db = math.hypot(drift_std_db, left_by_silence_db(wet) / Z95)
    heard_db = np.zeros(1) if static is None else _heard_db(static, drive_dbfs, response, parts.rate_s)
    off = off_tone(wet, bypass if bypassed else None, response, drive_dbfs=spec.level_dbfs)
    return _Swept(drive_dbfs, reduction, response, parts, own, bypassed, moved, level_std_db, heard_db, off)


def _moved(static: Reduction | None, drive_dbfs: float) -> bool:
    """Whether the gain at the drive, or below it as of a gate that has to open, is another than at rest."""
    below = np.arange(drive_dbfs, drive_dbfs - QUIETER_DB, -QUIETER_STEP_DB)
    gains = [static.reduction_db_at(float(level)) for level in below] if static is not None else []
    return any(gain is not None and abs(gain) >= IDLE_DB for gain in gains)


def _heard_db(static: Reduction, drive_dbfs: float, response: Response, rate_s: float) -> Array:
    """How far a detector that hears all of what the response does, or nothing of it, may move the gain.

    A gain that goes as far while it settles is behind the sweep by its slope, where the response has one that
    is not that of a filter: whose slope is 2 / pi of what it turns the phase by.
    """
    log_f, size_db = np.log(response.frequency_hz), response.magnitude_db
    turned_db = np.maximum(size_db - np.interp(math.log(REFERENCE_HZ), log_f, size_db), -QUIETER_DB)
    by_db = np.arange(math.floor(turned_db.min()), math.ceil(turned_db.max()) + 1.0)
    asked = [(by, static.reduction_db_at(drive_dbfs + by)) for by in by_db.tolist()]
    known = np.array([(by, reduction) for by, reduction in asked if reduction is not None] or [(0.0, 0.0)])
    gain_db, reach = np.interp(turned_db, *known.T), SETTLE_S / rate_s
    since = np.searchsorted(log_f, log_f - reach).tolist()
    slope_db, phase = np.gradient(turned_db, log_f), np.unwrap(np.angle(response.value))
    filtered_db = DB_PER_NEPER * 2 / np.pi * (phase - np.interp(math.log(REFERENCE_HZ), log_f, phase))
    left_db = np.abs(slope_db - filtered_db)
    behind_db = np.where(left_db < np.abs(slope_db) / 2, left_db, np.abs(slope_db)) * reach / LAGS
    lag_db = np.minimum(behind_db, [np.ptp(gain_db[first : at + 1]) for at, first in enumerate(since)])
    swing_db = np.maximum(np.abs(gain_db - np.interp(0.0, *known.T)), lag_db)
    return np.asarray(np.hypot(HEARD_DB * static.steepness_at(drive_dbfs), HEARD_SHARE * swing_db))


def _grid(spec: Sweep) -> Array:
    return octave_grid(
        from_hz=max(LOWEST_HZ, spec.from_hz), to_hz=min(HIGHEST_HZ, spec.to_hz), per_octave=PER_OCTAVE
    )


@once
def _linear(take: Take, segment: SegmentOf[Sweep]) -> Response:
    return _deconvolved(take, segment).linear(_grid(segment.spec))


def _deconvolved(take: Take, segment: SegmentOf[Sweep]) -> Deconvolution:
    spec = segment.spec
    cut = take.segment(segment, MARGIN_S)
    seconds = (cut.position() - segment.span.start) / cut.rate_hz
    return deconvolve_sweep(
        cut,
        excitation=spec.at(seconds),
        from_hz=spec.from_hz,
        to_hz=spec.to_hz,
        length_s=spec.length_s,
    )


def _conditions(sweep: _Swept) -> str:
    reference = "re bypass" if sweep.bypassed else "re the stimulus: the recording path's response is in it"
    return f"sweep at {number_text(sweep.drive_dbfs, 1)} dBFS, {_reduction_words(sweep)}, {reference}"


def _reduction_words(sweep: _Swept) -> str:
    if sweep.reduction_db is None:
        return "gain reduction not known"
    if sweep.idle:
        return "no gain reduction"
    return (
        f"{sweep.reduction_db:.1f} dB of gain reduction, "
        f"judged from {sweep.settled_from_hz:.0f} Hz up, {SETTLE_S:g} s after the start"
    )


def _readings(shape: ResponseShape) -> dict[str, Reading]:
    shelf = shape.shelf
    reason = f"no shelf describes the response: {shape.sentence}"
    following = "none needed; a sweep under gain reduction may show another shape"
    return {
        "response.low_corner": shape.low_corner_hz,
        "response.high_corner": shape.high_corner_hz,
        "response.shelf_gain": (shelf and shelf.gain_db) or Unmeasured("dB", reason, following),
        "response.shelf_corner": shelf.corner_hz if shelf else Unmeasured("Hz", reason, following),
        "response.tilt": shape.tilt_db_per_decade,
    }


def _response_table(sweeps: list[_Swept]) -> Table:
    """Response at every sweep, where it is told."""
    blocks = []
    for sweep in sweeps:
        one, reduction_db = sweep.response, math.nan if sweep.reduction_db is None else sweep.reduction_db
        shape = (one.frequency_hz, one.magnitude_db, one.phase_deg, sweep.drive_dbfs, reduction_db)
        stds = (np.hypot(one.magnitude_std_db, sweep.unsure_db), one.phase_std_deg)
        rows = np.broadcast_arrays(*shape, *stds, one.group_delay_s, one.group_delay_std_s)
        blocks.append(np.stack(rows)[:, sweep.told])
    return _table(blocks, RESPONSE)


def _harmonics_table(sweeps: list[_Swept]) -> Table:
    """Harmonics 2 to 5 over the drive's frequency, from every sweep, where its gain has settled.

    Cells that the noise hides are None.
    """
    blocks = [np.empty((len(HARMONICS), 0))]
    grid_hz = octave_grid(from_hz=LOWEST_HZ, to_hz=HIGHEST_HZ, per_octave=HARMONICS_PER_OCTAVE)
    for sweep in sweeps:
        parts, top_hz = sweep.parts, min(HIGHEST_HZ, sweep.parts.to_hz)
        for order in range(2, HIGHEST_ORDER + 1):
            from_hz = max(parts.harmonic_from_hz(order) / order, parts.from_hz, sweep.settled_from_hz)
            drive_hz = grid_hz[(grid_hz >= from_hz) & (grid_hz * order <= top_hz)]
            if not drive_hz.size:
                continue
            ratio, std = _over_fundamental(
                sweep.own, parts.harmonic(order, drive_hz * order), order, drive_hz
            )
            size = np.maximum(np.abs(ratio), 1e-15)
            limit_dbc = 20 * np.log10(np.maximum(DETECTED * std, 1e-15))
            phase = np.degrees(np.angle(ratio)), np.degrees(std / size)
            told = np.stack([20 * np.log10(size), DB_PER_NEPER * std / size, *phase])
            told[:, np.abs(ratio) <= DETECTED * std] = math.nan
            rows = np.broadcast_arrays(order, drive_hz, *told, limit_dbc, sweep.drive_dbfs)
            blocks.append(np.stack(rows))
    return _table(blocks, HARMONICS)


def _table(blocks: list[Array], units: dict[str, str]) -> Table:
    """Rows of all blocks under their names; what is no number is an empty cell."""

    def cell(name: str, x: float) -> Cell:
        return int(x) if name == "order" else None if math.isnan(x) else x

    rows = zip(units, np.concatenate(blocks, axis=1).tolist(), strict=True)
    return Table({name: [cell(name, x) for x in row] for name, row in rows}, units)


def _over_fundamental(own: Response, found: Response, order: int, drive_hz: Array) -> tuple[Complex, Array]:
    """Harmonic over fundamental; the angle is re `order` times the fundamental's phase, cosine convention."""
    log_f = np.log(own.frequency_hz)
    at = np.log(drive_hz)
    size = np.exp(np.interp(at, log_f, np.log(np.abs(own.value))))
    phase = np.interp(at, log_f, np.unwrap(np.angle(own.value)))
    # sine over sine becomes cosine over cosine by a quarter turn per order
    turn = np.exp(1j * ((order - 1) * np.pi / 2 - order * phase))
    return found.value * turn / size, found.std / size


def _words(published: Published, shape: ResponseShape, sweeps: list[_Swept]) -> list[str]:
    if not known(published, "response.tilt"):
        return []
    first = sweeps[0]
    out = [f"Response at {number_text(first.drive_dbfs, 0)} dBFS: {shape.sentence}."]
    for sweep in sweeps[1:]:
        if first.response.frequency_hz.size != sweep.response.frequency_hz.size:
            continue
        told = first.told & sweep.told
        change = (sweep.response.magnitude_db - first.response.magnitude_db)[told]
        shape_change = change - float(np.median(change))
        worst = int(np.argmax(np.abs(shape_change)))
        where = f"Driven at {number_text(sweep.drive_dbfs, 0)} dBFS ({_reduction_words(sweep)}) the response"
        if abs(shape_change[worst]) < FIGURE_OF_CHANGE_DB:
            out.append(f"{where} keeps its shape within {FIGURE_OF_CHANGE_DB:g} dB.")
        else:
            hz = sweep.response.frequency_hz[told][worst]
            out.append(
                f"{where} changes its shape, most at {hz:.0f} Hz: "
                f"{signed_text(float(shape_change[worst]), 2)} dB."
            )
    return out
