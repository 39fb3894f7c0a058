"""The dry take, computed back from a printed one, and what can be said of its error."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from charprobe.files.output import check_writable, never_written
from charprobe.files.sound.frames import frame_blocks
from charprobe.files.sound.sound_file import Capture, open_capture, write_wav_blocks
from charprobe.replica.cell import Passed
from charprobe.replica.chain import take_back
from charprobe.replica.doubt import Doubt, Perturbed
from charprobe.replica.lost import Lost
from charprobe.replica.model import Replica
from charprobe.replica.preview import BEYOND_DB, Reduction
from charprobe.replica.take import cautions_of, check_take
from charprobe.replica.unprinted import Unprinted
from charprobe.replica.which_setting import REMEDY, WhichSetting
from charprobe.values.arrays import Array
from charprobe.values.errors import ReplicaError
from charprobe.values.wording import number_text

DRAWS = 4
BETTER_DB = 10.0  # by which the result must beat the printed take
HOT_DB = 6.0  # above all that was measured: no dry take is expected there
HOT_SHARE = 1e-3  # of the samples
OVER = (
    "This setting prints loud sound softer than less loud sound, so that one printed level stands for two "
    "dry ones and noise decides between them"
)
BEGINNING_S, AUDIBLE_DB = 0.1, -40.0  # so soon so near the peak: sound went on before the take began
FORGOTTEN = 3.0  # release times until little is left of what it asked for


def unprint(replica: Replica, printed: str | Path, out: str | Path, *, force: bool = False) -> Unprinted:
    """Write the dry take that a printed one was made from, as 32-bit float WAV; the printed file stays.

    Parameters
    ----------
    replica : Replica
        The setting it was printed with.
    printed : str or Path
        Any rate and number of channels.
    out : str or Path
        File to write; never the printed one.
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    ReplicaError
        If the take cannot come from this setting, or the result would not beat the printed take by 10 dB.
    SoundFileError, OutputError
        If a file cannot be read or written.
    """
    out = Path(out)
    with never_written(Path(printed)):
        check_writable(out, force=force, sound=True)
        take = open_capture(printed)
        check_take(take)
        if not replica.proofs and not replica.posterior.places:
            raise ReplicaError(
                "the replica says neither how well its numbers are known nor how it stood on programme, so "
                "that no error of the result could be stated: fit a capture that holds the segment "
                "`programme`, or prove it with --prove. Nothing was written"
            )
        work = _Work(replica, take)
        write_wav_blocks(
            out,
            work.blocks(),
            size=(take.frames, take.channels),
            rate_hz=take.rate_hz,
            subtype="float32",
            force=force,
        )
    return work.found()


class _Work:
    """One walk through the take: takes back, gathers what is known of the error, mends what is lost."""

    def __init__(self, replica: Replica, take: Capture) -> None:
        self.replica, self.take = replica, take
        self._perturbed = Perturbed(replica, rate_hz=take.rate_hz, bits=take.facts.bits, draws=DRAWS)
        self._doubt = Doubt(rate_hz=take.rate_hz, draws=DRAWS)
        self._lost = Lost(replica, rate_hz=take.rate_hz, noise=self._perturbed.noise)
        self._setting = WhichSetting(replica, take)
        self._sums = np.zeros(3)  # printed squared, printed times dry, dry squared
        self._reduction = Reduction(replica, self._perturbed.noise)
        self._beginning, self._begins = round(BEGINNING_S * take.rate_hz), 0.0  # samples to come, their peak
        self._hot = 0
        self._peaks = np.zeros(2)
        self._limit = 10 ** ((max(replica.highest_peak_dbfs, 0.0) + HOT_DB) / 20)

    def blocks(self) -> Iterator[Array]:
        """Yield the result block by block; raises once all is seen if it must not be kept."""
        chains = self._perturbed.chains
        printed = (self._given(block) for block in frame_blocks(self.take))
        rate_hz, flat = self.take.rate_hz, self._lost.flat
        for bundle in take_back(chains, printed, rate_hz=rate_hz, heard=self._heard, flat=flat):
            groups = np.split(bundle, len(chains), axis=1)
            mended, as_printed = self._lost.mended(groups[0])
            self._doubt.add(mended, [group - groups[0] for group in groups[1:]], printed=as_printed)
            self._hot += int(np.count_nonzero(np.abs(mended) > self._limit))
            self._peaks = np.maximum(self._peaks, [np.abs(as_printed).max(), np.abs(mended).max()])
            self._begins = max(self._begins, np.abs(mended[: self._beginning]).max(initial=0.0))
            self._beginning = max(0, self._beginning - mended.shape[0])
            self._sums += [np.sum(as_printed**2), np.sum(as_printed * mended), np.sum(mended**2)]
            yield mended
        self._judge()

    def _given(self, block: Array) -> Array:
        self._lost.printed(block)
        return self._perturbed.bundle(block)

    def _heard(self, passed: Passed) -> None:
        self._lost.heard(passed)
        self._setting.heard(passed)
        self._reduction.add(passed)

    def _judge(self) -> None:
        share = self._hot / (self.take.frames * self.take.channels)
        cell = self.replica.chain.cell
        steepest = sum(max(bend.slope, 0.0) for bend in cell.bends if bend.side == "above")
        over = steepest > 1 and cell.loop == "feed-forward"
        if share > HOT_SHARE:
            why = (
                OVER
                if over
                else "A dry take, another setting, or a take that was turned up afterwards: choose the right "
                "replica, or undo the change of level first"
            )
            raise ReplicaError(
                f"{self.take.path}: does not come back through the setting {self.replica.setting!r} at this "
                f"level: the dry take would have to exceed {20 * np.log10(self._limit):.1f} dBFS in "
                f"{100 * share:.1f} % of its samples (peak {20 * np.log10(self._peaks[1]):.1f} dBFS). {why}. "
                "Nothing was written"
            )
        tells = self._setting.told()
        better = self._printed_db() - max(self._doubt.error_db(), tells.off_db)
        if tells.against and better < BETTER_DB:
            raise ReplicaError(
                f"{self.take.path}: was not printed with the setting {self.replica.setting!r} at this level: "
                f"{tells.against}. {REMEDY}. Nothing was written"
            )
        if better < BETTER_DB:
            most, misses, off = (
                number_text(float(value), 1)
                for value in (self._reduction.most_db, self._printed_db(), self._doubt.error_db())
            )
            raise ReplicaError(
                f"{self.take.path}: not worth taking back: the printed take, which the setting reduced by "
                f"{most} dB at most, misses the dry one by {misses} dB of its energy, and the result would "
                f"be off by about {off} dB; {BETTER_DB:g} dB between them are asked. "
                f"{OVER + '. ' if over else ''}Keep the printed take. Nothing was written"
            )

    def _printed_db(self) -> float:
        yy, yx, xx = self._sums
        left = 1 - yx**2 / (yy * xx) if min(yy, xx) > 0 else 0.0
        return float(10 * np.log10(max(left, 1e-20)))

    def found(self) -> Unprinted:
        """What is known once the walk has ended."""
        time_s, over_time = self._doubt.over_time_db()
        louder = 20 * np.log10(max(self._peaks[1], 1e-12) / max(self._peaks[0], 1e-12))
        notes = [
            "The result is an estimate: what the replica does not know of the stage stays in it. The bound "
            "holds only if the take was printed with this setting.",
            *self._setting.told().notes(),
            *cautions_of(self.replica, self.take),
        ]
        if self._begins > 10 ** (AUDIBLE_DB / 20) * self._peaks[1]:
            lasts_s = FORGOTTEN * self.replica.chain.cell.smoothing.remembered_s
            notes.append(
                "It begins in the middle of sound, and the stage is taken to have been at rest until then: "
                f"where it was not, the first {number_text(lasts_s, 1)} s are off by more than is stated. "
                "Begin it where all was quiet for as long."
            )
        if louder > 3:
            notes.append(f"Its peaks lie {louder:.0f} dB above the printed ones: lower the volume first.")
        over = float(20 * np.log10(max(self._peaks[1], 1e-12))) - self.replica.highest_peak_dbfs
        if over > BEYOND_DB:
            notes.append(
                f"Its peaks lie {number_text(over, 1)} dB above all that the setting was measured with: up "
                "there the bound does not hold, and a take printed with another setting comes back like this "
                "too."
            )
        if self.replica.chain.filter_in or self.replica.chain.filter_out:
            notes.append("What the recording path cut off, far below its corners, does not come back.")
        if not self.replica.proofs:
            notes.append("Not proved on programme: the bound knows the replica's error on its stimulus.")
        return Unprinted(
            error_db=self._doubt.error_db(),
            bound_db=self._doubt.bound_db(),
            printed_db=self._printed_db(),
            mean_reduction_db=self._reduction.mean_db,
            most_reduction_db=self._reduction.most_db,
            time_s=time_s,
            over_time_db=over_time,
            bands=self._doubt.bands_db(),
            stretches=self._lost.stretches(),
            louder_db=float(louder),
            notes=tuple(notes),
        )
