"""Replicas at work: built-in material heard through them, and what each setting will do to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from charprobe.files.text_tables import Row, csv_text
from charprobe.profile.profile import Profile
from charprobe.publishing.listen.material import joined
from charprobe.publishing.listen.tracks import Listening, Sound, equally_loud
from charprobe.replica.chain import play_take
from charprobe.replica.model import SUFFIX, Replica, load_replica
from charprobe.replica.predict import KINDS, RATE_HZ, Prediction, made_up, predict
from charprobe.replica.preview import how_close, on_the_stimulus
from charprobe.replica.words import sentence
from charprobe.values.wording import literal, number_text, signed_text

PEAK_DBFS = -12.0  # of each dry sound: a take with room above it
PASSAGE_S = 3.0
HEARD = KINDS[:3]  # a voice, strings, drums
FINE_GAIN_DB = 0.1  # error of a replica's gain up to which its reductions are told to a tenth
ABOUT = (
    f"Not recorded: a made-up voice, plucked strings and drums, each peaking at {number_text(PEAK_DBFS, 0)} "
    "dBFS, were sent through a replica of each setting: a model fitted to its capture. How close each came "
    "on programme that the fit did not hear:"
)


def replicas_in(folder: Path, profiles: Sequence[Profile]) -> dict[str, Replica]:
    """Return the replicas in a folder that were fitted to the captures of some profiles, by setting."""
    found = [load_replica(path) for path in sorted(folder.glob(f"*{SUFFIX}"))]
    of_capture = {
        (source.sha256, replica.channel): replica
        for replica in found
        for source in replica.sources
        if source.role == "capture"
    }
    places = {profile.setting: (profile.capture.sha256, profile.channel) for profile in profiles}
    fitted = {one.setting for one in profiles if "replica.residual" in one.quantities}
    return {
        name: of_capture[place] for name, place in places.items() if name in fitted and place in of_capture
    }


def heard_through(replicas: Mapping[str, Replica], names: Sequence[str]) -> Listening | None:
    """Send built-in material through replicas, which are by setting; None where no setting has one.

    `names` are the settings in the order of the page.
    """
    own = [(number, name) for number, name in enumerate(names) if name in replicas]
    if not own:
        return None
    level = 10 ** (min(PEAK_DBFS, *(one.highest_peak_dbfs for one in replicas.values())) / 20)
    dry = [level * made_up(kind)[: round(PASSAGE_S * RATE_HZ)] for _, kind in HEARD]
    sounds = [Sound("dry", None, joined(dry, RATE_HZ))]
    for number, name in own:
        wet = [play_take(replicas[name].chain, one, rate_hz=RATE_HZ).sound[:, 0] for one in dry]
        sounds.append(Sound(name, number, joined(wet, RATE_HZ)))
    return Listening(
        equally_loud(sounds, rate_hz=RATE_HZ),
        RATE_HZ,
        heading="Through replicas",
        about=ABOUT,
        notes=tuple(f"{literal(name)}: {_how_good(replicas[name])}" for _, name in own),
        folder="replica-sound",
    )


def _how_good(replica: Replica) -> str:
    if (worst := replica.worst) is None:
        return f"not proved, for its capture has no programme; {on_the_stimulus(replica)}"
    return how_close(worst) + ("" if worst.stands else ": not close enough to stand for the setting")


@dataclass(frozen=True)
class Forecast:
    """What settings will do to programme: kinds of material, and of every setting its predictions for each.

    `coarse` are the settings whose replicas do not bear tenths of a dB; `left_out` says of which nothing
    is told.
    """

    materials: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Prediction, ...]], ...]
    coarse: frozenset[str]
    left_out: str

    @property
    def peak(self) -> str:
        """Peak of the dry material, in words."""
        return f"{number_text(PEAK_DBFS, 0)} dBFS"

    @property
    def sentences(self) -> Iterable[str]:
        """A sentence for every setting and material."""
        return [sentence(one) for _, row in self.rows for one in row]

    def reduction(self, one: Prediction) -> str:
        """Return mean and largest reduction in words; "none" where the stage does not move."""
        places = 0 if one.setting in self.coarse else 1
        if round(one.most_db, places) <= 0:
            return "none"
        return f"{number_text(one.mean_db, places)}, at most {number_text(one.most_db, places)} dB"

    def after(self, one: Prediction) -> str:
        """Return what becomes of loudness."""
        if one.loudness_change_lu is None:
            return ""
        places = 0 if one.setting in self.coarse else 1
        change = round(one.loudness_change_lu, places)
        return f"{signed_text(change, places)} LU" if change else "as loud"

    def csv(self) -> str:
        """Return all numbers as a table; empty where there is nothing to tell."""
        header = ["setting", "material", "peak of the dry take [dBFS]", "mean reduction [dB]"]
        header += ["typical reduction [dB]", "largest reduction [dB]", "crest factor change [dB]"]
        header += ["loudness change [LU]", "attacks further out [dB]", "swing of the reduction [dB]"]
        header += ["time to let go [s]", "distortion on the loudest moments [dB]"]
        rows: list[Row] = [
            [
                one.setting, one.material, one.peak_dbfs, one.mean_db, one.typical_db, one.most_db,
                one.crest_change_db, one.loudness_change_lu, one.attack_through_db, one.swing_db,
                one.let_go_s, one.distortion_db,
            ]
            for _, row in self.rows
            for one in row
        ]  # fmt: skip
        return csv_text(header, rows)


def forecast_of(replicas: Mapping[str, Replica], names: Sequence[str]) -> Forecast | None:
    """Tell what each setting will do to the built-in kinds of material; None where there is no replica."""
    there = [name for name in names if name in replicas]
    if not there:
        return None
    own = [name for name in there if replicas[name].stands]
    poor = ", ".join(literal(name) for name in there if name not in own)
    rows = tuple((name, predict(replicas[name], drives_dbfs=[PEAK_DBFS])) for name in own)
    coarse = frozenset(
        name for name in own if (worst := replicas[name].worst) is None or worst.gain_error_db > FINE_GAIN_DB
    )
    left_out = f"Nothing is told of {poor}: the replica does not come close enough." if poor else ""
    return Forecast(tuple(material for material, _ in KINDS), rows, coarse, left_out)
