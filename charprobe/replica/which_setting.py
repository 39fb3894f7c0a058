"""Whether a printed take was printed with the setting at hand: what its noise and its steady tones tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.files.sound.frames import BLOCK_FRAMES
from charprobe.files.sound.sound_file import Capture
from charprobe.replica.cell import Passed
from charprobe.replica.model import Replica
from charprobe.replica.noise_under import Noise, NoiseUnder
from charprobe.replica.steady_tones import SteadyTones, Unevenness
from charprobe.values.wording import number_text

LOWER_DB = 1.0  # by which noise in loud places lies lower than in quiet ones, beyond chance: not flat
REMEDY = (
    "Choose the replica of the setting that printed it, or undo what was done to the take afterwards, a "
    "change of level or another compressor"
)


@dataclass(frozen=True)
class Told:
    """What a take tells of its setting.

    Attributes
    ----------
    against : str
        What speaks surely against the setting, "" where nothing does.
    off_db : float
        Error over sound that it brings at least; unbounded where noise speaks against the setting.
    noise, tones
        What it is told by.
    """

    against: str
    off_db: float
    noise: Noise
    tones: Unevenness

    def notes(self) -> list[str]:
        """Sentences on it, against the setting or not."""
        unseen = (
            f"a stage whose gain moved {100 * self.tones.unseen:.0f} % more or less would leave an error of "
            f"about {number_text(self.tones.unseen_db, 0)} dB, and they would not show it"
        )
        if self.against:
            notes = [
                f"It was not, as far as the take tells: {self.against}. That alone leaves an error of about "
                f"{number_text(self.off_db, 0)} dB. {REMEDY}; material that ducked before it was printed "
                "looks like this too."
            ]
        elif np.isinf(self.tones.reach):
            notes = [f"Its tones do not tell whether it was, too few go on while the gain moves: {unseen}."]
        else:
            notes = [f"Its tones do not speak against it: {unseen}."]
        dip = self.noise.printed
        if dip and dip.beyond(LOWER_DB):
            notes.append(
                f"Its noise, printed up to {number_text(-dip.depth_db, 0)} dB lower where it is loud, is no "
                "lower there in the result: nothing speaks for a setting that takes more than this one."
            )
        return notes


class WhichSetting:
    """Listens to what passes the cell of a replica; asked at the end."""

    def __init__(self, replica: Replica, take: Capture) -> None:
        colour, cell, rate_hz = replica.chain.colour, replica.chain.cell, take.rate_hz
        # a colour ahead turns noise and tones down as well
        self._deaf = bool(colour.amplitude) and colour.place == "before"
        self._noise = NoiseUnder(rate_hz=rate_hz, frames=take.frames)
        self._tones = SteadyTones(
            cell, rate_hz=rate_hz, channels=take.channels, blocks=take.frames // BLOCK_FRAMES
        )

    def heard(self, passed: Passed) -> None:
        """Take what passes the cell next."""
        if not self._deaf:
            self._noise.heard(passed)
            self._tones.heard(passed)

    def told(self) -> Told:
        """What all that was heard tells."""
        noise, tones = self._noise.told(), self._tones.told()
        if (dip := noise.result) and dip.beyond(LOWER_DB):
            against = (
                f"its noise, told at {dip.low_hz / 1000:.0f} to {dip.high_hz / 1000:.0f} kHz, would "
                f"lie {number_text(-dip.depth_db, 1)} dB lower where the dry take is loud than where it is "
                "quiet, so that more was taken there than this replica gives back"
            )
            return Told(against, np.inf, noise, tones)
        if tones.sure:
            way, other = ("with", "more") if tones.share > 0 else ("against", "less")
            against = (
                f"tones that go on in it would still move {way} the gain, {100 * abs(tones.share):.0f} % as "
                f"far as it does, so that {other} was taken than this replica gives back"
            )
            return Told(against, tones.off_db, noise, tones)
        return Told("", -np.inf, noise, tones)
