"""The noise spectrum, the bypass beside it, mains lines apart."""

from __future__ import annotations

import numpy as np

from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.axes import frequency_axis, least_span
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.source import conditions, in_words, who
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer

EMPTY = Table({"frequency_hz": [], "level_dbfs": []}, {"frequency_hz": "Hz", "level_dbfs": "dBFS"})

LEAST_SPAN_DB = 30.0  # the scatter of third octaves is not blown up


def draw_noise(profile: Profile, look: Look) -> Drawing:
    """Draw noise density over frequency; the profile must have the curve "noise_spectrum"."""
    table = profile.curves["noise_spectrum"]
    mains = profile.curves.get("mains_lines", EMPTY)
    with settings(look):
        figure, (axes,) = new_figure(look)
        columns = (("density_dbfs_per_hz", "setting"), ("bypass_density_dbfs_per_hz", "bypass"))
        for index, (column, word) in enumerate(columns):
            height = numbers(table, column)
            if np.isfinite(height).any():
                style = look.series(index) | {"marker": ""}
                axes.plot(numbers(table, "frequency_hz"), height, label=word, drawstyle="steps-mid", **style)
        frequency_axis(axes)
        least_span(axes, LEAST_SPAN_DB)
        axes.set_ylabel("noise density (dBFS per Hz)")
        axes.legend(loc="upper right")
        title = f"Noise – {who(profile)}"
        weighted, flat = (in_words(profile, f"noise.{name}") for name in ("a_weighted", "unweighted"))
        main = f"A-weighted {weighted}, flat {flat}"
        foot = conditions(profile, ["noise.a_weighted", "noise.unweighted"])
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    lines = len(mains.columns["frequency_hz"])
    alt = f"Noise density in third octaves over frequency; {main}. {lines} mains lines are left out of it."
    return Drawing(figure, look, "noise", title, alt, foot)
