"""Named faults with typical sizes, for trying out what a check says about them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from charprobe.errors import CharprobeError
from charprobe.stages import faults, helpful_faults
from charprobe.stages.rig import hum
from charprobe.stages.stage import Array

Fault = Callable[[Array, float], Array]


def fault_names() -> tuple[str, ...]:
    """Names of all faults, alphabetically."""
    return tuple(sorted(_FAULTS))


def apply_fault(name: str, capture: Array, *, rate_hz: float) -> Array:
    """Return the capture with a fault of typical size, at the middle of it where it has a place.

    Parameters
    ----------
    name : str
        One of `fault_names`.
    capture : ndarray, shape (n, channels)
        At least one second long.
    rate_hz : float > 0
        Sampling rate.

    Returns
    -------
    ndarray, shape (m, channels)

    Raises
    ------
    CharprobeError
        If there is no such fault; the message lists those there are.

    Examples
    --------
    >>> float(apply_fault("dc-offset", np.zeros((48_000, 1)), rate_hz=48e3)[0, 0])
    0.0125
    """
    if name not in _FAULTS:
        raise CharprobeError(f"no fault {name!r}; there are: {', '.join(fault_names())}")
    return _FAULTS[name](capture, rate_hz)


def _middle(capture: Array) -> int:
    return int(capture.shape[0]) // 2


def _hum(capture: Array, rate_hz: float) -> Array:
    line = hum(
        capture.shape[0], mains_hz=50.0, level_dbfs=-60.0, rate_hz=rate_hz, rng=np.random.default_rng(50)
    )
    return capture + line[:, None]


def _clicks(capture: Array, rate_hz: float) -> Array:
    for at in (0.3, 0.5, 0.7):
        capture = faults.click(capture, at=int(at * capture.shape[0]), height=0.4)
    return capture


_FAULTS: dict[str, Fault] = {
    "added-silence": lambda x, rate: faults.insert_silence(x, at=_middle(x), count=int(0.5 * rate)),
    "automatic-gain": lambda x, rate: helpful_faults.automatic_gain(x, rate_hz=rate),
    "click": _clicks,
    "clipped": lambda x, rate: faults.clip(1.5 * x, ceiling_dbfs=0.0),
    "clipped-below-full-scale": lambda x, rate: faults.clip(x, ceiling_dbfs=-3.0),
    "dc-offset": lambda x, rate: faults.offset(x, amount=0.0125),
    "dropout": lambda x, rate: faults.zero_out(x, at=_middle(x), count=37),
    "edges-faded": lambda x, rate: faults.fade_edges(x, count=int(0.4 * rate)),
    "few-bits": lambda x, rate: faults.coarse(x, bits=8),
    "gain-step": lambda x, rate: faults.step_gain(x, at=_middle(x), gain_db=1.4),
    "hum": _hum,
    "idle-mute": lambda x, rate: helpful_faults.idle_mute(x, rate_hz=rate),
    "level-drift": lambda x, rate: faults.drift_gain(x, total_db=0.6),
    "lossy-coded": lambda x, rate: helpful_faults.lossy_code(x, rate_hz=rate),
    "misplaced-bits": lambda x, rate: faults.misplace_bits(x),
    "noise-suppressor": lambda x, rate: helpful_faults.suppress_noise(x, rate_hz=rate),
    "non-finite": lambda x, rate: faults.spoil(x, at=_middle(x), value=float("nan")),
    "normalised": lambda x, rate: faults.normalise(x, peak_dbfs=-0.1),
    "polarity-inverted": lambda x, rate: -x,
    "rate-converted": lambda x, rate: faults.rate_convert(x, ratio=147 / 160),
    "reordered": lambda x, rate: faults.swap_stretches(
        x, first=x.shape[0] // 4, second=x.shape[0] // 2, count=x.shape[0] // 8
    ),
    "silent": lambda x, rate: np.zeros_like(x),
    "spur": lambda x, rate: faults.add_tone(x, frequency_hz=1000.0, level_dbfs=-65.0, rate_hz=rate),
    "start-missing": lambda x, rate: faults.cut_start(x, count=int(0.9 * rate)),
    "timing-jump": lambda x, rate: faults.lose(x, at=_middle(x), count=96),
    "timing-repeat": lambda x, rate: faults.repeat(x, at=_middle(x), count=256),
    "truncated": lambda x, rate: faults.cut_end(x, count=x.shape[0] // 3),
    "two-paths": lambda x, rate: faults.second_path(x, delay=round(0.0041 * rate), gain_db=-12.0),
    "two-takes": lambda x, rate: faults.two_takes(x, gap=int(rate)),
    "wow": lambda x, rate: faults.wow(x, depth_ppm=60.0, frequency_hz=0.7, rate_hz=rate),
}
