"""What a fit came to: the chain, and how its numbers are known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.replica.fitting.cell_fit import Fitted
from charprobe.replica.fitting.colour_fit import off_by
from charprobe.replica.fitting.heard import Heard
from charprobe.replica.fitting.pair import Noise
from charprobe.replica.fitting.proof import own_db
from charprobe.replica.model import Posterior
from charprobe.replica.parts import Chain
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class Found:
    """A chain and how it is known.

    Attributes
    ----------
    chain : Chain
        Without polarity and latency.
    late : float
        Samples by which the capture lies later than its markers say.
    noise : Noise
        As much of it heard as suits the stage.
    fitted : tuple of Fitted
        Its cell, then other structures that explain the stage as well; none without a cell.
    error_db : float
        Error over sound on stretches the fit did not hear.
    worst, worst_own_db : str, float
        The segment with the greatest error among these, less what noise explains, and that error.
    cut_short : bool
        Whether the budget of work ended the search.
    """

    chain: Chain
    late: float
    noise: Noise
    fitted: tuple[Fitted, ...]
    error_db: float
    worst: str
    worst_own_db: float
    cut_short: bool

    @property
    def equally_good(self) -> tuple[str, ...]:
        """The other structures in words."""
        return tuple(one.structure.in_words() for one in self.fitted[1:])

    @property
    def score(self) -> float:
        """Weighted error where the fit heard, 0 without a cell."""
        return self.fitted[0].solution.score if self.fitted else 0.0

    @property
    def lack(self) -> float:
        """How many times as great it is elsewhere: as much as that, the model lacks something."""
        return self.fitted[0].held_out / max(self.score, 1e-9) if self.fitted else 1.0

    def posterior(self, lack: float) -> Posterior:
        """How well the numbers of the cell are known by a model that lacks so much."""
        if not self.fitted:
            return Posterior()
        best = self.fitted[0]
        whole = best.solution.covariance + np.diag(_spread(best, self.fitted[1:]) ** 2)
        columns = [column for column, knob in enumerate(best.knobs) for _ in knob.places]
        return Posterior(
            tuple(place for knob in best.knobs for place in knob.places),
            tuple(best.knobs[column].logarithmic for column in columns),
            tuple(map(tuple, (whole[np.ix_(columns, columns)] * lack**2).tolist())),
        )


def _spread(best: Fitted, others: tuple[Fitted, ...]) -> Array:
    """How far each number lies from that of structures that explain the stage as well."""
    found = np.zeros(len(best.knobs))
    for one in others:
        values = {knob.places[0]: value for knob, value in zip(one.knobs, one.solution.values, strict=True)}
        for i, knob in enumerate(best.knobs):
            if knob.places[0] in values and one.structure.loop == best.structure.loop:
                found[i] = max(found[i], abs(values[knob.places[0]] - best.solution.values[i]) / 2)
    return found


def error_of(chain: Chain, heard: Heard, rate_hz: int) -> tuple[float, str, float]:
    """Error in dB where the fit did not hear, the segment with the greatest of its own, and that."""
    error = off_by(chain, heard, rate_hz)
    whole = float(10 * np.log10(np.mean(error**2) / max(float(np.mean(heard.target**2)), 1e-30) + 1e-15))
    own = [own_db(error[at], heard.left[at], heard.target[at], rate_hz=rate_hz) for at, _ in heard.parts]
    worst = int(np.argmax(own))
    return whole, heard.names[worst], own[worst]
