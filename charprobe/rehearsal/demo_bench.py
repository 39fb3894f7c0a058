"""The demo's bench: it plays each setting, records it, measures and draws it, in whichever process."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from charprobe.files.output import safe_file_name
from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture
from charprobe.profile.profile import Profile
from charprobe.rehearsal.selftest import played_truth
from charprobe.simulation.demo_device import BYPASS, REPEATED, SETTINGS
from charprobe.simulation.devices.stage import TrueValue
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_with_gain
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array

if TYPE_CHECKING:
    from charprobe.publishing.report.inline_svg import InPage

RATE_HZ, PLAYED = 48_000, "stimulus.wav"
TAKES = (BYPASS, *SETTINGS, next(setting for setting in SETTINGS if setting.name == REPEATED))
Truth = Mapping[str, TrueValue]


@dataclass(frozen=True)
class Bench:
    """Where the captures of `TAKES` and their profiles go, what is played, and whether files are replaced."""

    folder: Path
    recipe: Recipe
    force: bool

    def capture(self, number: int) -> Path:
        """Return the file of a take."""
        return self.folder / "captures" / f"{number:02d} {safe_file_name(TAKES[number].name)}.wav"

    @cache  # noqa: B019  # one bench a demo
    def _played(self) -> Array:
        return open_capture(self.folder / PLAYED).read(0, laid_out(self.recipe).length, 0)

    def record(self, number: int) -> Truth:
        """Record a take, and return what is true of it."""
        stage = TAKES[number]
        taken = record_with_gain(stage, self._played(), rig=rig_of(number), rate_hz=RATE_HZ, seed=number)
        write_wav(self.capture(number), taken.capture, rate_hz=RATE_HZ, subtype="pcm24", force=self.force)
        return played_truth(stage, laid_out(self.recipe), played=self._played(), gain_db=taken.gain_db)

    @cache  # noqa: B019  # likewise
    def bypass(self) -> Judged:
        """Judge the bypass that all captures are measured against: once, where it is done before the fork."""
        return self._judged(0)

    def _judged(self, number: int) -> Judged:
        return judge_capture(open_capture(self.capture(number)), laid_out(self.recipe), 0)

    def measure(self, number: int, known: Mapping[int, Truth]) -> tuple[Profile, Truth]:
        """Measure a take, recorded where it is not yet, against the bypass, and write its profile."""
        truth = known[number] if number in known else self.record(number)
        profile = characterise_judged(self._judged(number), self.bypass(), setting=TAKES[number].name)
        profile.save(self.folder / "profiles" / f"{self.capture(number).stem}.json", force=self.force)
        return profile, truth


@cache
def laid_out(recipe: Recipe) -> Stimulus:
    """Return what is played, the same object in each call."""
    return lay_out(recipe, rate_hz=RATE_HZ, take=1)


def rig_of(number: int) -> Rig:
    """The crew's recorder at one capture: started in step with playing, its clock never quite the same."""
    return Rig(
        delay_samples=1490.37,
        drift_ppm=11.8 + 0.03 * number,
        noise_dbfs=-108.0,
        ac_corner_hz=2.0,
        bits=24,
        lead_s=0.4,
    )


def figures(takes: Sequence[Profile], number: int) -> tuple[InPage, ...]:
    """Draw the figures of a setting, the one of that number on the page."""
    from charprobe.publishing.report.card import shown_of

    (shown,) = shown_of(takes)
    return replace(shown, number=number).figures()
