"""Replicas: a model of one setting that runs, how well it is known and proved, and its JSON file."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from annotated_types import Interval, MaxLen

from charprobe.files import output
from charprobe.files.checked_model import checked
from charprobe.files.limits import Number, Sha256, Words
from charprobe.files.untrusted import FileKind, json_content, read_text
from charprobe.profile.facts import Channel, GivenName, Rate
from charprobe.profile.json_form import render
from charprobe.replica.flat import range_at, value_at, with_values
from charprobe.replica.parts import Chain
from charprobe.values.arrays import Array
from charprobe.values.errors import ReplicaError

SCHEMA = "charprobe-replica-1"
SUFFIX = ".replica.json"
FILE = FileKind(
    called="charprobe replica",
    error=ReplicaError,
    most_bytes=2_000_000,
    most_depth=12,
    remedy="a replica is the JSON file that `charprobe fit` writes",
    mend="fit the capture again",
    schema=SCHEMA,
)
MAX_PARAMETERS = 64
UNTOLD_DB = -400.0  # of an error that a replica does not tell
GOOD_DB, GOOD_GAIN_DB = -30.0, 0.3  # residual and gain error up to which a replica stands for its stage
Place = Annotated[str, MaxLen(80)]
Decibels = Annotated[float, Interval(ge=-400, le=400)]
Spread = Annotated[float, Interval(ge=0, le=1e12)]


@dataclass(frozen=True)
class SourceFile:
    """A file the replica was fitted to or proved on: what it was, its name without folders, its SHA-256."""

    role: Literal["capture", "bypass", "profile", "stimulus", "proof dry", "proof processed"]
    file: GivenName
    sha256: Sha256


@dataclass(frozen=True)
class Posterior:
    """How well the fitted numbers are known.

    Attributes
    ----------
    places : tuple of str
        Where the fitted numbers stand in the chain, such as ``cell.bends.0.threshold_dbfs``.
    logarithmic : tuple of bool
        Whether the covariance is that of the natural logarithm of the number, as for times.
    covariance : tuple of tuple of float
        Symmetric, as many rows and columns as places.
    """

    places: Annotated[tuple[Place, ...], MaxLen(MAX_PARAMETERS)] = ()
    logarithmic: Annotated[tuple[bool, ...], MaxLen(MAX_PARAMETERS)] = ()
    covariance: Annotated[
        tuple[Annotated[tuple[Number, ...], MaxLen(MAX_PARAMETERS)], ...], MaxLen(MAX_PARAMETERS)
    ] = ()

    def __post_init__(self) -> None:
        sizes = {len(self.places), len(self.logarithmic), len(self.covariance), *map(len, self.covariance)}
        if self.places and len(sizes) != 1:
            raise ValueError("`places`, `logarithmic` and `covariance` of one size")
        if self.places:
            table = np.array(self.covariance)
            scale = np.sqrt(np.abs(np.diag(table))) + 1e-300
            if not np.allclose(table / scale / scale[:, None], table.T / scale / scale[:, None], atol=1e-6):
                raise ValueError("`covariance` symmetric")
            if np.linalg.eigvalsh(table / scale / scale[:, None]).min() < -1e-6:
                raise ValueError("`covariance` without negative variance in any direction")


@dataclass(frozen=True)
class BandProof:
    """Residual in one band, re the energy of the captured sound there."""

    low_hz: Number
    high_hz: Number
    residual_db: Decibels


@dataclass(frozen=True)
class Proof:
    """How the replica stood on sound that it was not fitted to.

    Attributes
    ----------
    material : str
        What sound that was.
    residual_db : float
        Energy of the error over the energy of the captured sound.
    gain_error_db : float
        Root-mean-square difference of measured and played gain.
    explained : float
        Share of the gain's variance that is explained, at most 1.
    bands : tuple of BandProof
        Residual by band.
    worst_residual_db : float
        The same as `residual_db`, in the worst second.
    noise_db : float
        What the noise of both captures alone leaves of `residual_db`.
    worst_own_db : float
        The same as `residual_db`, in the worst quarter of a second with sound, less what noise explains; of a
        fit's proof also where the fit did not hear the stimulus.
    """

    material: Words
    residual_db: Decibels
    gain_error_db: Spread
    explained: Annotated[float, Interval(ge=-1e6, le=1)]
    bands: Annotated[tuple[BandProof, ...], MaxLen(40)] = ()
    worst_residual_db: Decibels = 0.0
    noise_db: Decibels = -400.0
    worst_own_db: Decibels = -400.0

    @property
    def stands(self) -> bool:
        """Whether the replica comes close enough to stand for the setting."""
        return self.residual_db <= GOOD_DB and self.gain_error_db <= GOOD_GAIN_DB


@dataclass(frozen=True)
class Disagreement:
    """A quantity whose measured interval does not hold the replica's number."""

    quantity: Place
    unit: Annotated[str, MaxLen(20)]
    measured_low: Number
    measured_high: Number
    fitted: Number


@dataclass(frozen=True)
class Replica:
    """A model of one channel of one setting.

    Attributes
    ----------
    setting, channel
        As in the profile.
    rate_hz : int
        Sampling rate of the capture; the chain itself runs at any rate.
    chain : Chain
        The stage.
    posterior : Posterior
        Uncertainty of its numbers.
    lowest_dbfs, highest_dbfs : float
        Levels (a full-scale sine is 0 dBFS) between which the stage was measured.
    highest_peak_dbfs : float
        Highest peak that it was measured with, 20 log10 of the largest sample.
    noise_dbfs : float
        Unweighted noise of the capture at rest.
    unheard_db : float
        Energy of the error over the energy of the captured sound on the stimulus where no number was fitted.
    proofs : tuple of Proof
        None where the capture holds no programme.
    equally_good : tuple of str
        Other structures that explain the device as well, in words.
    disagreements : tuple of Disagreement
        Where it does not agree with the measured profile.
    notes : tuple of str
        Plain sentences: what could not be modelled, and why.
    sources : tuple of SourceFile
        Files it comes from.
    made_with : str
        Version of charprobe.
    """

    schema: Literal["charprobe-replica-1"]
    setting: GivenName
    channel: Channel
    rate_hz: Rate
    chain: Chain
    posterior: Posterior
    lowest_dbfs: Decibels
    highest_dbfs: Decibels
    highest_peak_dbfs: Decibels
    noise_dbfs: Decibels
    unheard_db: Decibels = UNTOLD_DB
    proofs: Annotated[tuple[Proof, ...], MaxLen(20)] = ()
    equally_good: Annotated[tuple[Words, ...], MaxLen(20)] = ()
    disagreements: Annotated[tuple[Disagreement, ...], MaxLen(100)] = ()
    notes: Annotated[tuple[Words, ...], MaxLen(50)] = ()
    sources: Annotated[tuple[SourceFile, ...], MaxLen(10)] = ()
    made_with: Annotated[str, MaxLen(200)] = ""

    def __post_init__(self) -> None:
        for place in self.posterior.places:
            try:
                value_at(self.chain, place)
            except (AttributeError, IndexError, TypeError, ValueError):
                raise ValueError(f"`places` of numbers of the chain; {place[:40]!r} is none") from None

    @property
    def worst(self) -> Proof | None:
        """The proof in which the replica stood worst; None where it has none."""
        return max(self.proofs, key=lambda proof: proof.residual_db, default=None)

    @property
    def stands(self) -> bool:
        """Whether the replica comes close enough to stand for the setting, as far as anything shows.

        Without a proof the stimulus itself must do: what it chose the structure by flatters, but denies.
        """
        return self.unheard_db <= GOOD_DB if self.worst is None else self.worst.stands

    def to_json(self) -> str:
        """Return the replica as strict JSON text; the same replica always gives the same text."""
        return render(dataclasses.asdict(self) | {"schema": SCHEMA})

    @classmethod
    def from_json(cls, text: str, *, source: str) -> Replica:
        """Check the JSON text of a replica and build it; `source` names it in messages.

        Raises
        ------
        ReplicaError
            If the text is not strict JSON, or describes something outside the family of stages.
        """
        return checked(json_content(text, FILE, source=source), cls)

    def save(self, path: str | Path, *, force: bool = False) -> None:
        """Write the replica to `path`, whole or not at all; `OutputError` if that cannot be."""
        output.write_text(Path(path), self.to_json(), force=force)

    def drawn(self, count: int, rng: np.random.Generator) -> tuple[Chain, ...]:
        """Draw chains whose numbers scatter as the posterior says; the same ones where it says nothing.

        A draw that would leave the range of a number is held at its edge.
        """
        places, log = self.posterior.places, np.array(self.posterior.logarithmic, dtype=bool)
        if not places:
            return (self.chain,) * count
        centre = np.array([value_at(self.chain, place) for place in places])
        edges = np.transpose([range_at(self.chain, place) for place in places])
        root = _root(np.array(self.posterior.covariance))
        chains = []
        for row in rng.standard_normal((count, len(places))) @ root.T:
            moved = np.where(log, centre * np.exp(np.clip(row, -5, 5)), centre + row)
            chains.append(with_values(self.chain, places, np.clip(moved, *edges)))
        return tuple(chains)


def _root(covariance: Array) -> Array:
    """A matrix whose product with its transpose is the covariance, in numbers of any size."""
    scale = np.sqrt(np.abs(np.diag(covariance))) + 1e-300
    values, vectors = np.linalg.eigh(covariance / scale / scale[:, None])
    return np.asarray(scale[:, None] * vectors * np.sqrt(np.maximum(values, 0.0)))


def load_replica(path: str | Path) -> Replica:
    """Read a replica file.

    Raises
    ------
    ReplicaError
        If the file is missing, too large, or not a valid replica.
    """
    path = Path(path)
    return Replica.from_json(read_text(path, FILE), source=str(path))
