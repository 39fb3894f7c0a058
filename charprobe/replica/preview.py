"""A dry take sent through a setting before it is printed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from charprobe.files.output import check_writable, never_written
from charprobe.files.sound.frames import frame_blocks
from charprobe.files.sound.loudness import LoudnessMeter, channel_weights
from charprobe.files.sound.sound_file import Capture, open_capture, write_wav_blocks
from charprobe.listening.match import HIGHEST_PEAK
from charprobe.listening.true_peak import TruePeakMeter
from charprobe.replica.cell import Passed
from charprobe.replica.chain import play
from charprobe.replica.model import UNTOLD_DB, Proof, Replica
from charprobe.replica.take import cautions_of, check_take
from charprobe.values.arrays import Array
from charprobe.values.errors import ReplicaError
from charprobe.values.quantity import Unmeasured
from charprobe.values.wording import signed_text, under_text

BEYOND_DB = 0.5  # above the highest measured peak: no further is taken for measured


@dataclass(frozen=True)
class Previewed:
    """What was written.

    Attributes
    ----------
    mean_reduction_db, most_reduction_db : float
        Over the moments with sound (within 60 dB of the peak).
    loudness_change_db : float or None
        Of the stage, before anything was turned; None where the take is too short or quiet for loudness.
    turned_db : float
        By what the written file was turned for equal loudness; 0 if not asked for.
    notes : tuple of str
        Plain sentences: how good the replica is, what to mind when listening.
    """

    mean_reduction_db: float
    most_reduction_db: float
    loudness_change_db: float | None
    turned_db: float
    notes: tuple[str, ...]


def preview(
    replica: Replica,
    dry: str | Path,
    out: str | Path,
    *,
    equal_loudness: bool = False,
    beyond_levels: bool = False,
    force: bool = False,
) -> Previewed:
    """Write what a setting would make of a dry take, as 32-bit float WAV on the dry one's clock.

    Parameters
    ----------
    replica : Replica
        The setting.
    dry : str or Path
        Any rate and number of channels.
    out : str or Path
        File to write.
    equal_loudness : bool
        Whether the result is turned to the loudness of the dry take, as far as its peaks allow.
    beyond_levels : bool
        Whether a take that is louder than anything the setting was measured with is played all the same.
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    ReplicaError
        If the take is silent, not finite, or louder than the measured levels.
    SoundFileError, OutputError
        If a file cannot be read or written.
    """
    out = Path(out)
    with never_written(Path(dry)):
        check_writable(out, force=force, sound=True)
        take = open_capture(dry)
        peak_dbfs = float(20 * np.log10(check_take(take)))
        over_db = peak_dbfs - replica.highest_peak_dbfs
        if over_db > BEYOND_DB and not beyond_levels:
            raise ReplicaError(
                f"{take.path}: peaks at {peak_dbfs:.1f} dBFS, the setting was measured up to "
                f"{replica.highest_peak_dbfs:.1f} dBFS: what it does above is not known. Turn the take "
                f"down by {over_db:.1f} dB, or add --beyond-levels to hear a guess. Nothing was written"
            )
        reduction = Reduction(replica, 10 ** ((peak_dbfs - 60) / 20))
        dry_level, level = _Meter(take), _Meter(take)
        for block in frame_blocks(take):
            dry_level.add(block)
        for block in play(replica.chain, frame_blocks(take), rate_hz=take.rate_hz, heard=reduction.add):
            level.add(block)
        change, turned = change_lu(dry_level.loudness, level.loudness), 0.0
        if equal_loudness and change is not None:
            turned = min(-change, 20 * np.log10(HIGHEST_PEAK / level.peak()))
        factor = 10 ** (turned / 20)
        write_wav_blocks(
            out,
            (block * factor for block in play(replica.chain, frame_blocks(take), rate_hz=take.rate_hz)),
            size=(take.frames, take.channels),
            rate_hz=take.rate_hz,
            subtype="float32",
            force=force,
        )
    return Previewed(
        mean_reduction_db=reduction.mean_db,
        most_reduction_db=reduction.most_db,
        loudness_change_db=change,
        turned_db=float(turned),
        notes=(
            how_good(replica),
            *cautions_of(replica, take),
            *_cautions(change, float(turned), equal_loudness, level.peak() * factor, over_db),
        ),
    )


def how_good(replica: Replica) -> str:
    """Say in a sentence how well a replica stood on sound it never saw."""
    if (worst := replica.worst) is None:
        return f"The replica was not proved on programme; {on_the_stimulus(replica)}."
    start = "Proved" if worst.stands else "Not close enough to stand for the setting, heard"
    return f"{start} on {worst.material}: {how_close(worst)}."


def on_the_stimulus(replica: Replica) -> str:
    """Say how close a replica without a proof comes to the stimulus it was fitted to."""
    if replica.unheard_db <= UNTOLD_DB:
        return "how close it comes is not known"
    own = f"on its own stimulus the error lies {under_text(replica.unheard_db)}"
    return own if replica.stands else f"{own}: not close enough to stand for the setting"


def how_close(proof: Proof) -> str:
    """Say how far below the sound the error lies, and how well the gain is met."""
    return (
        f"the error lies {under_text(proof.residual_db)}, the gain is met to {proof.gain_error_db:.2g} dB rms"
    )


def _cautions(change: float | None, turned: float, equal: bool, peak: float, over_db: float) -> Iterator[str]:
    if over_db > BEYOND_DB:
        yield f"The take goes {over_db:.1f} dB above the measured levels: up there this is a guess."
    if change is None:
        yield "The take is too short or too quiet for loudness; nothing was turned."
    elif not equal and change > 1:
        yield f"The result is {change:.1f} LU louder than the dry take: lower the volume before comparing."
    elif equal and turned < -change - 0.05:
        left = -change - turned
        yield f"{left:.1f} dB are missing to equal loudness, for peaks would clip: lower the dry take first."
    if peak > 1:
        peak_db = signed_text(float(20 * np.log10(peak)), 1)
        yield f"Peaks reach {peak_db} dBFS: a player will clip them; turn the file down first."


class _Meter:
    """Loudness and true peak of a take that arrives block by block."""

    def __init__(self, take: Capture) -> None:
        self.loudness = LoudnessMeter(rate_hz=take.rate_hz, weights=channel_weights(take.channels))
        self._peak = TruePeakMeter(rate_hz=take.rate_hz, channels=take.channels)

    def add(self, block: Array) -> None:
        self.loudness.add(block)
        self._peak.add(block)

    def peak(self) -> float:
        return max(self._peak.peak(), 1e-9)


def change_lu(before: LoudnessMeter, after: LoudnessMeter) -> float | None:
    """Change of loudness, None where one of both cannot be had."""
    one, other = (meter.result().integrated_lufs for meter in (before, after))
    return None if isinstance(one, Unmeasured) or isinstance(other, Unmeasured) else other - one


class Reduction:
    """Gathers the reduction of a setting in dB: its mean where sound lies above a size, and its most."""

    def __init__(self, replica: Replica, least: float) -> None:
        self._makeup_db, self._least = replica.chain.cell.makeup_db, least
        self._sum, self._count, self.most_db = 0.0, 0, 0.0

    def add(self, passed: Passed) -> None:
        """Take what passed the cell next."""
        reduction, sounding = self._makeup_db - passed.gain_db, np.abs(passed.sound) > self._least
        self._sum += float(reduction[sounding].sum())
        self._count += int(np.count_nonzero(sounding))
        self.most_db = max(self.most_db, float(reduction.max(initial=0.0)))

    @property
    def mean_db(self) -> float:
        """Mean over the moments with sound."""
        return self._sum / max(self._count, 1)
