"""The noise spectrum, the bypass beside it, mains lines apart."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import numbers, rows_of
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import frequency_axis, interval_band, least_span
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel

LEAST_SPAN_DB = 30.0  # the scatter of third octaves is not blown up


def draw_noise(profile: Profile, look: Look) -> Drawing:
    """Draw noise density over frequency; the profile must have the curve "noise_spectrum"."""
    weighted, flat = (in_words(profile, f"noise.{name}") for name in ("a_weighted", "unweighted"))
    main = f"A-weighted {weighted}, flat {flat}"
    lines = rows_of(profile.curves["mains_lines"]) if "mains_lines" in profile.curves else 0
    return composed(
        "noise",
        look,
        [partial(plot_noise, profile)],
        title=f"Noise – {who(profile)}",
        main=main,
        conditions=conditions(profile, ["noise.a_weighted", "noise.unweighted"]),
        alt=f"Noise density in third octaves over frequency; {main}. {lines} mains lines are left out of it.",
    )


def plot_noise(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot noise density (dBFS per Hz) over frequency (Hz), the bypass beside it where there is one."""
    table = curve_of(profile, "noise_spectrum")
    with panel(ax, look) as axes:
        for index, (stem, word) in enumerate((("density", "setting"), ("bypass_density", "bypass"))):
            height, std = (numbers(table, f"{stem}_{unit}") for unit in ("dbfs_per_hz", "std_db"))
            if np.isfinite(height).any():
                style = look.series(index) | {"marker": ""}
                frequency = numbers(table, "frequency_hz")
                axes.plot(frequency, height, label=word, drawstyle="steps-mid", **style)
                interval_band(axes, frequency, height, std, colour=style["color"], step="mid")
        frequency_axis(axes)
        least_span(axes, LEAST_SPAN_DB)
        axes.set_ylabel("noise density (dBFS per Hz)")
        axes.legend(loc="upper right")
    return axes
