"""The noise chapter: weighted and unweighted levels, mains lines, change against the bypass."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from charprobe.estimators.idle import Heard
from charprobe.estimators.noise import LEAST_MAINS_DBFS, Line, Noise
from charprobe.measuring.chapters.lookup import absent, counterpart
from charprobe.measuring.chapters.static.references import left_by_silence_db
from charprobe.measuring.heard import heard_in
from charprobe.placing.take import Take, held
from charprobe.profile.entry import NO_BYPASS, Cell, Chapter, Entry, Published, Table
from charprobe.stimulus.kinds.segment import SegmentOf
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.quantity import Quantity, Reading, Unmeasured, difference_db
from charprobe.values.wording import number_text, signed_text

NAMES = (
    "noise.unweighted",
    "noise.a_weighted",
    "noise.ccir_rms",
    "noise.change",
    "noise.change_at_equal_level",
    "noise.dynamic_range",
    "noise.mains",
)
RECIPE = "quick"
THIRD_OCTAVE = 2 ** (1 / 6) - 2 ** (-1 / 6)  # its width over its middle
CLOSE_DB = 1.0  # noise this close to the bypass is the recorder's as much as the stage's
LINE_STD_DB = 0.25  # a line adds to the noise in its few bins: covers the worst that is still told apart
RECORD_LONGER = "a recipe with a longer silence segment"


def noise_chapter(wet: Take, bypass: Take | None) -> Chapter:
    """Measure the noise of a setting from its first silence segment.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass.
    """
    segments = held(wet, Silence)
    if not segments:
        return Chapter(quantities=absent(wet, Silence, NAMES, recipe=RECIPE))
    segment = segments[0]
    heard = heard_in(wet, segment)
    same = counterpart(bypass, segment)
    other = heard_in(bypass, same) if bypass is not None and same is not None else None
    moves_db = left_by_silence_db(wet)
    where = "beside the quiet tone" if heard.used is heard.beside_tone else "in silence"
    conditions = f"20 Hz to 20 kHz, {where}, mains lines left out; recorder's own noise included"
    entries = {
        name: Entry(_level(heard.used, name), conditions)
        for name in ("noise.unweighted", "noise.a_weighted", "noise.ccir_rms")
    }
    entries |= {
        "noise.mains": Entry(_mains(heard.used), "power sum of the lines of the 50 or 60 Hz family"),
        "noise.dynamic_range": Entry(_dynamic_range(heard, moves_db), _tone_conditions(segment)),
    }
    entries |= _changes(heard, other, bypass)
    return Chapter(
        quantities={name: _as_the_gain_moves(entry, moves_db) for name, entry in entries.items()},
        curves=_curves(heard, other),
        words=lambda published: _words(published, heard.used),
    )


def _as_the_gain_moves(entry: Entry, by_db: float) -> Entry:
    """Noise is no better known than the gain that it came through: what moves beside it moved within it."""
    found = entry.reading
    if not isinstance(found, Quantity):
        return entry
    widened = difference_db(found, Quantity(0.0, -by_db, by_db, "dB"))
    return replace(entry, reading=replace(widened, unit=found.unit))


def _level(noise: Noise | None, name: str) -> Reading:
    if noise is None:
        return Unmeasured(
            "dBFS",
            "the silence holds digital zeros, a mute, and no long enough quiet tone stands beside it",
            "a capture of a recipe whose silence segment has tone_s of 1 or more",
        )
    return {"unweighted": noise.unweighted, "a_weighted": noise.a_weighted, "ccir_rms": noise.ccir_rms}[
        name.partition(".")[2]
    ]


def _mains(noise: Noise | None) -> Reading:
    if noise is None:
        return Unmeasured(
            "dBFS", "the silence is muted and there is no quiet tone to listen beside", RECORD_LONGER
        )
    total = noise.mains_dbfs
    if total is None:
        return Unmeasured("dBFS", "no line of the 50 or 60 Hz family stands out of the noise", RECORD_LONGER)
    if total < LEAST_MAINS_DBFS:
        reason = f"all lines of the 50 or 60 Hz family lie below {number_text(LEAST_MAINS_DBFS, 0)} dBFS"
        return Unmeasured("dBFS", reason, "nothing: they are far below any noise", at_most=LEAST_MAINS_DBFS)
    return Quantity.from_std(total, LINE_STD_DB, "dBFS")


def _dynamic_range(heard: Heard, moves_db: float) -> Reading:
    if heard.beside_tone is None:
        return Unmeasured(
            "dB",
            "there is no quiet tone to keep the path open beside the noise",
            "a capture of a recipe whose silence segment has tone_s of 1 or more",
        )
    noise = heard.beside_tone.ccir_rms
    if moves_db:
        reason = "the gain moves under the quiet tone, and what that makes of the tone passes for noise"
        return Unmeasured("dB", reason, "a longer pause ahead of the tone", at_least=-noise.high)
    return Quantity(-noise.value, -noise.high, -noise.low, "dB")


def _tone_conditions(segment: SegmentOf[Silence]) -> str:
    spec = segment.spec
    return (
        f"full-scale sine over CCIR-RMS noise beside a tone of {spec.tone_hz:g} Hz "
        f"at {number_text(spec.tone_dbfs, 0)} dBFS; recorder's own noise included"
    )


def _changes(heard: Heard, other: Heard | None, bypass: Take | None) -> dict[str, Entry]:
    names = ("noise.change", "noise.change_at_equal_level")
    if bypass is None:
        missing = Unmeasured("dB", NO_BYPASS, "record the bypass and give it")
        return {name: Entry(missing, "") for name in names}
    pair = _same_part(heard, other)
    if pair is None:
        missing = Unmeasured(
            "dB", "setting and bypass show no noise under the same conditions", "record both whole, unmuted"
        )
        return {name: Entry(missing, "") for name in names}
    change = difference_db(pair[0].unweighted, pair[1].unweighted)
    entries = {"noise.change": Entry(change, "unweighted, both as recorded")}
    gain = _tone_gain(heard, other)
    if gain is None:
        missing = Unmeasured(
            "dB",
            "without a quiet tone the gain of the setting over the bypass is not known",
            "a capture of a recipe whose silence segment has tone_s of 1 or more",
        )
        entries["noise.change_at_equal_level"] = Entry(missing, "")
    else:
        entries["noise.change_at_equal_level"] = Entry(
            difference_db(change, gain),
            f"unweighted, less the gain of {signed_text(gain.value, 2)} dB that the quiet tone shows",
        )
    return entries


def _same_part(heard: Heard, other: Heard | None) -> tuple[Noise, Noise] | None:
    """Noise of both takes from the same part: silence if both are open in it, else beside the tone."""
    if other is None:
        return None
    open_in_silence = not (heard.muted or other.muted)
    if open_in_silence and heard.silent is not None and other.silent is not None:
        return heard.silent, other.silent
    if heard.beside_tone is not None and other.beside_tone is not None:
        return heard.beside_tone, other.beside_tone
    return None


def _tone_gain(heard: Heard, other: Heard | None) -> Quantity | None:
    if heard.tone is None or other is None or other.tone is None:
        return None
    one, two = heard.tone.level(1), other.tone.level(1)
    if isinstance(one, Quantity) and isinstance(two, Quantity):
        return difference_db(one, two)
    return None


def _curves(heard: Heard, other: Heard | None) -> dict[str, Table]:
    noise = heard.used
    if noise is None:
        return {}
    size = noise.spectrum_hz.size
    rig: list[Cell] = [None] * size
    rig_std: list[Cell] = [None] * size
    if other is not None and other.used is not None and other.used.spectrum_hz.size == size:
        rig = [float(x) for x in other.used.spectrum_dbfs_per_hz]
        rig_std = [float(x) for x in other.used.spectrum_std_db]
    spectrum = Table(
        {
            "frequency_hz": [float(x) for x in noise.spectrum_hz],
            "density_dbfs_per_hz": [float(x) for x in noise.spectrum_dbfs_per_hz],
            "density_std_db": [float(x) for x in noise.spectrum_std_db],
            "bypass_density_dbfs_per_hz": rig,
            "bypass_density_std_db": rig_std,
        },
        {
            "frequency_hz": "Hz",
            "density_dbfs_per_hz": "dBFS/Hz",
            "density_std_db": "dB",
            "bypass_density_dbfs_per_hz": "dBFS/Hz",
            "bypass_density_std_db": "dB",
        },
    )
    mains = Table(
        {
            "frequency_hz": [line.frequency_hz for line in noise.mains],
            "level_dbfs": [line.level_dbfs for line in noise.mains],
            "level_std_db": [LINE_STD_DB] * len(noise.mains),
        },
        {"frequency_hz": "Hz", "level_dbfs": "dBFS", "level_std_db": "dB"},
    )
    return {"noise_spectrum": spectrum, "mains_lines": mains}


def _words(published: Published, noise: Noise | None) -> list[str]:
    weighted, rms, change = (
        published[f"noise.{name}"].reading for name in ("a_weighted", "ccir_rms", "change")
    )
    if noise is None or not (isinstance(weighted, Quantity) and isinstance(rms, Quantity)):
        return []
    out = [
        f"Noise is {number_text(weighted.value, 1)} dBFS A-weighted, "
        f"{number_text(rms.value, 1)} dBFS CCIR-RMS."
    ]
    telling = [line for line in noise.mains if _tells(line, noise)]
    if telling:
        strongest = max(telling, key=lambda line: line.level_dbfs)
        out.append(
            f"Mains lines are present, the strongest at {strongest.frequency_hz:.0f} Hz, "
            f"{number_text(strongest.level_dbfs, 1)} dBFS; they are not in the noise figures."
        )
    if isinstance(change, Quantity):
        if abs(change.value) < CLOSE_DB:
            out.append(
                "Its noise lies within 1 dB of the bypass: what is heard is mostly the recording path, "
                "and the stage's own noise is lower than given."
            )
        else:
            out.append(
                f"The setting changes the noise by {signed_text(change.value, 1)} dB against the bypass."
            )
    return out


def _tells(line: Line, noise: Noise) -> bool:
    """Whether a line is worth a sentence: above the least level and above the noise of its third octave."""
    density = float(np.interp(line.frequency_hz, noise.spectrum_hz, noise.spectrum_dbfs_per_hz))
    beside = density + 10 * math.log10(THIRD_OCTAVE * line.frequency_hz)
    return line.level_dbfs > max(LEAST_MAINS_DBFS, beside)
