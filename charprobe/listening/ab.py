"""A matched pair and its difference from any dry and processed file, written whole or not at all."""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from charprobe.files.output import check_writable, never_written, prepare_folder, write_text
from charprobe.files.sound.sound_file import open_capture
from charprobe.listening.aligning.one_rate import on_one_rate
from charprobe.listening.aligning.pair_checks import PairingError, check_rates
from charprobe.listening.aligning.pairing import AlignedPair, fit_response, pair_files
from charprobe.listening.difference import Null, residual, take_difference
from charprobe.listening.match import HIGHEST_PEAK, Matched, Rule, measure_levels, write_matched, write_pcm24
from charprobe.listening.programme_gain import ProgrammeGain, trace_gain
from charprobe.listening.what_it_did import WhatItDid, describe
from charprobe.values.one_thread import on_one_thread
from charprobe.values.quantity import Quantity
from charprobe.values.wording import signed_text

NAMES = ("dry.wav", "processed.wav", "difference.wav", "pair.json", "gain.csv")
_FIT_SIZE = 1 << 14


@dataclass(frozen=True)
class MadePair:
    """What was written, and everything found on the way; `difference_gain_db` is at most 0."""

    pair: AlignedPair
    matched: Matched
    null: Null
    did: WhatItDid
    difference_gain_db: float

    def as_json(self) -> str:
        """Return the findings as JSON; a drift that cannot be told is null with its reason beside it."""
        drift = self.pair.drift_ppm
        known, reason = (asdict(drift), None) if isinstance(drift, Quantity) else (None, drift.reason)
        return json.dumps(
            {
                "delay_frames": asdict(self.pair.delay),
                "drift_ppm": known,
                "drift_reason": reason,
                "polarity": self.pair.polarity,
                "latency_changes": [asdict(jump) for jump in self.pair.jumps],
                "roles": asdict(self.pair.roles),
                "match": asdict(self.matched),
                "difference": self.null.table(written_at_db=self.difference_gain_db),
                "what_it_did": self.did.table(),
                "notes": [*self.pair.notes, *self.matched.notes],
            },
            indent=2,
            allow_nan=False,
            ensure_ascii=False,
        )


def _gain_table(trace: ProgrammeGain) -> str:
    """Gain over time as CSV; moments too quiet to tell are left out."""
    columns = (trace.time_s, trace.gain_db, trace.low_db, trace.high_db, trace.level_dbfs)
    rows = np.stack(columns, axis=1)[trace.known]
    lines = ["time_s,gain_db,gain_low_db,gain_high_db,dry_level_dbfs"]
    lines += [f"{t:.6f},{g:.4f},{low:.4f},{high:.4f},{level:.2f}" for t, g, low, high, level in rows]
    return "\n".join(lines) + "\n"


@on_one_thread
def make_pair(
    dry: str | Path,
    processed: str | Path,
    out: str | Path,
    *,
    rule: Rule = "loudness",
    remove_response: bool = False,
    roles_as_named: bool = False,
    second_path_as_meant: bool = False,
    convert_rate: bool = False,
    force: bool = False,
) -> MadePair:
    """Write `dry.wav`, `processed.wav`, `difference.wav`, `pair.json` and `gain.csv` into the folder `out`.

    Parameters
    ----------
    dry, processed : str or Path
        One sound before and after a stage.
    out : str or Path
        Folder; created where its parent exists.
    rule : {"loudness", "rms", "low-level"}
        What shall be equal within 0.02 dB on the written files.
    remove_response : bool
        Whether the best linear filter is taken out of the difference file too.
    roles_as_named : bool
        Whether the caller vouches for which file is dry; files that look swapped are refused otherwise.
    second_path_as_meant : bool
        Whether the caller vouches for a second copy of the dry sound, as an echo makes it; it is refused
        otherwise, for direct monitoring mixed in makes it too.
    convert_rate : bool
        Whether the faster of two files of different sampling rates is converted down to the other's rate;
        they are refused otherwise.
    force : bool
        Whether files that exist are replaced.

    Raises
    ------
    CharprobeError
        If the files cannot be brought together, matched or written; `out` then holds what it held before.
    """
    dry, processed, out = Path(dry), Path(processed), Path(out)
    sources = open_capture(dry), open_capture(processed)
    prepare_folder(out)
    with never_written(dry, processed):
        for name in NAMES:
            check_writable(out / name, force=force, sound=name.endswith(".wav"))
    if not (out / NAMES[3]).exists() and any((out / name).exists() for name in NAMES):
        raise PairingError(
            f"{out}: holds files of these names but no {NAMES[3]}, so no earlier pair stands there, and they "
            "are not replaced: choose another folder. Files kept"
        )
    if not convert_rate:
        check_rates(*sources)
    with on_one_rate(*sources) as (slow_dry, slow_processed, notes):
        pair = pair_files(slow_dry, slow_processed)
        _check_meaning(
            pair, dry, processed, roles_as_named=roles_as_named, second_path_as_meant=second_path_as_meant
        )
        pair = replace(pair, notes=(*notes, *pair.notes))
        return _written(pair, out, rule=rule, remove_response=remove_response)


def _check_meaning(
    pair: AlignedPair, dry: Path, processed: Path, *, roles_as_named: bool, second_path_as_meant: bool
) -> None:
    """Refuse a pair that looks like a mistake, unless the caller vouches for it."""
    if pair.roles.verdict == "swapped" and not roles_as_named:
        raise PairingError(
            f"{dry.name} and {processed.name} look swapped: from the one to the other the gain rises with "
            f"level ({signed_text(pair.roles.slope, 2)} dB per dB), as from a processed file back to its dry "
            "one. Run again with the two exchanged, or with --roles-as-named if the stage is an expander. "
            "Nothing was written"
        )
    if pair.second_path is not None and not second_path_as_meant:
        raise PairingError(
            f"{processed.name}: {pair.second_path.text} Whatever is heard and measured below would be the "
            "mixture's. Mute it and record again, or run again with --second-path-as-meant if the stage "
            "itself repeats the sound. Nothing was written"
        )


def _written(pair: AlignedPair, out: Path, *, rule: Rule, remove_response: bool) -> MadePair:
    """Measure a pair, and write all of it or nothing."""
    response = np.ones((1, pair.processed.channels))
    if pair.response_fitted:
        size = min(_FIT_SIZE, pair.dry.frames // 2)
        response = fit_response(pair.dry, pair.processed, dry_channels=pair.dry_channels, size=size)
    trace = trace_gain(pair.dry, pair.processed, dry_channels=pair.dry_channels, response=response)
    null = take_difference(pair, trace=trace)
    did = describe(pair, trace=trace)
    with tempfile.TemporaryDirectory(dir=out, prefix=".unfinished-") as name:
        folder = Path(name)
        matched = write_matched(
            pair,
            trace=trace,
            rule=rule,
            dry_path=folder / NAMES[0],
            processed_path=folder / NAMES[1],
        )
        difference = residual(pair, null, remove_response=remove_response)
        factor = min(1.0, HIGHEST_PEAK / max(measure_levels(difference).true_peak, 1e-9))
        write_pcm24(folder / NAMES[2], difference, factor=factor, rng=np.random.default_rng(3))
        made = MadePair(pair, matched, null, did, float(20 * np.log10(factor)))
        write_text(folder / NAMES[3], made.as_json() + "\n", force=False)
        write_text(folder / NAMES[4], _gain_table(trace), force=False)
        for part in NAMES:
            (folder / part).replace(out / part)
    return made
