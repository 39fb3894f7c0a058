"""The transfer curve of a setting, and beside it what it departs from a straight line."""

from __future__ import annotations

import numpy as np

from charprobe.profile.entry import flags, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.axes import frequency_words
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.source import conditions, who
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer
from charprobe.values.wording import number_text, rounded_text


def draw_transfer(profile: Profile, look: Look) -> Drawing:
    """Draw output over input at the drive of one tone; the profile must have the curve "transfer"."""
    table = profile.curves["transfer"]
    x, y, line = (numbers(table, name) for name in ("input", "output", "line"))
    deviation = 100 * numbers(table, "deviation") / np.max(np.abs(line))
    tone = (
        f"{frequency_words(float(numbers(table, 'frequency_hz')[0]))} "
        f"at {number_text(float(numbers(table, 'drive_dbfs')[0]), 1)} dBFS"
    )
    with settings(look):
        figure, (left, right) = new_figure(look, panels=2)
        figure.subplots_adjust(right=0.95, wspace=0.32)
        straight = look.series(1) | {"marker": "", "linestyle": (0, (5, 3))}
        left.plot(x, line, label="straight line of small signals", **straight)
        left.plot(x, y, label="transfer", **(look.series(0) | {"marker": ""}))
        left.legend(loc="upper left")
        left.set(xlabel="input (FS)", ylabel="output (FS)")
        right.axhline(0.0, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        right.plot(x, deviation, label="departure", **(look.series(0) | {"marker": ""}))
        right.set(xlabel="input (FS)", ylabel="off the line (% of its peak)")
        title = f"Transfer curve – {who(profile)}"
        most = rounded_text(float(np.max(np.abs(deviation))))
        main = f"{tone}: up to {most} % off the straight line"
        if flags(table, "memory", missing=False).any():
            main += "; memory shows: not the whole story"
        foot = conditions(profile, ["colour.onset"])
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    alt = f"Output against input, and its departure from a straight line; {main}."
    return Drawing(figure, look, "transfer", title, alt, foot)
