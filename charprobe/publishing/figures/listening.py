"""What a stage did to real material, and what is left between a pair."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from charprobe.files.output import prepare_folder
from charprobe.listening.ab import MadePair
from charprobe.publishing.figures.axes import frequency_axis, least_span
from charprobe.publishing.figures.drawing import Drawing, save_drawing
from charprobe.publishing.figures.labels import EndLabel, label_ends
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text, signed_text

COLUMNS = 1200  # points along a figure; each shows the whole span of what it stands for
LEAST_GAIN_DB = 2.0  # a gain that stands still looks still


def save_listening(made: MadePair, folder: Path, look: Look, *, force: bool) -> tuple[Path, ...]:
    """Write all figures of a pair, each as SVG, PNG, PDF and words; the folder is made if its parent exists.

    Raises
    ------
    OutputError
        If a file exists and `force` is false, or cannot be written.
    """
    prepare_folder(folder)
    draw: tuple[Callable[[MadePair, Look], Drawing], ...] = (draw_gain, draw_levels, draw_difference)
    written: list[Path] = []
    for drawing in (work(made, look) for work in draw):
        written += save_drawing(drawing, folder, stem=drawing.name, force=force)
    return tuple(written)


def draw_gain(made: MadePair, look: Look) -> Drawing:
    """Draw gain over time with its interval, and beside it how long the gain spends where."""
    trace, did = made.did.trace, made.did
    known_db = trace.gain_db[trace.known] if trace.known.any() else np.zeros(1)
    time_s, low, high = _spans(trace.time_s, trace.low_db, trace.high_db, trace.known)
    _, least, most = _spans(trace.time_s, trace.gain_db, trace.gain_db, trace.known)
    with settings(look):
        figure, (left, right) = new_figure(look, panels=2)
        left.set_position((0.08, left.get_position().y0, 0.62, left.get_position().height))
        right.set_position((0.76, right.get_position().y0, 0.21, right.get_position().height))
        style = look.series(0)
        left.fill_between(time_s, low, high, color=look.palette.grid, label="95 % interval")
        left.fill_between(
            time_s, least, most, color=style["color"], linewidth=look.frame.line_pt / 2, label="gain"
        )
        least_span(left, LEAST_GAIN_DB)
        bottom, top = np.percentile(known_db, [0.05, 99.95]) + np.array([-1.5, 1.5])
        left.set_ylim(bottom, top)
        left.set(xlabel="time from the first common sample (s)", ylabel="gain, processed re dry (dB)")
        left.legend(loc="lower right", ncols=2)
        right.barh(did.histogram_gain_db, 100 * did.histogram_share, height=0.42, color=style["color"])
        right.set_ylim(bottom, top)
        right.set(xlabel="share of time (%)")
        spread = np.percentile(known_db, [5, 50, 95])
        low_text, middle_text, high_text = (number_text(float(value), 1) for value in spread)
        main = f"nine tenths of the time between {low_text} and {high_text} dB, middle {middle_text} dB"
        if not trace.known.any():
            main = "known at no moment"
        foot = (
            f"Gain fitted to the material in windows of {1e3 * trace.window_s:.1f} ms, make-up included; "
            f"faster changes are smoothed. Too quiet to tell in {100 * (1 - trace.known.mean()):.0f} % of "
            "the time. Saturation counts as gain as far as it follows the sound; the interval allows for it."
        )
        title = "Gain over time"
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    return Drawing(figure, look, "gain-over-time", title, f"Gain over time and its histogram: {main}.", foot)


def _spans(time_s: Array, low: Array, high: Array, known: np.ndarray) -> tuple[Array, Array, Array]:
    """Lowest and highest value in each of `COLUMNS` pieces of time; NaN where nothing is known."""
    size = max(1, -(-time_s.size // COLUMNS))
    padded = -(-time_s.size // size) * size
    reach = [np.full(padded, np.nan) for _ in range(2)]
    for out, values in zip(reach, (low, high), strict=True):
        out[: time_s.size] = np.where(known, values, np.nan)
    empty = ~np.isfinite(reach[0]).reshape(-1, size).any(axis=1)
    least = np.where(np.isfinite(reach[0]), reach[0], np.inf).reshape(-1, size).min(axis=1)
    most = np.where(np.isfinite(reach[1]), reach[1], -np.inf).reshape(-1, size).max(axis=1)
    return time_s[::size], np.where(empty, np.nan, least), np.where(empty, np.nan, most)


def draw_levels(made: MadePair, look: Look) -> Drawing:
    """Draw short-term level out over in, and the change of the long-term spectrum."""
    did = made.did
    with settings(look):
        figure, (left, right) = new_figure(look, panels=2)
        figure.subplots_adjust(wspace=0.3)
        ends = np.array([did.level_in_dbfs.min(), did.level_in_dbfs.max()])
        dots = {"color": look.series(0)["color"], "s": look.frame.marker_pt, "linewidths": 0, "alpha": 0.5}
        left.scatter(did.level_in_dbfs, did.level_out_dbfs, label="each 0.1 s", **dots)
        left.plot(
            ends, ends, label="unchanged", **(look.series(1) | {"marker": "", "linestyle": (0, (5, 3))})
        )
        left.set(xlabel="level of the dry sound (dBFS)", ylabel="level of the processed sound (dBFS)")
        left.legend(loc="upper left")
        right.plot(did.band_hz, did.band_change_db, **(look.series(0) | {"marker": ""}))
        right.axhline(0.0, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        frequency_axis(right)
        least_span(right, LEAST_GAIN_DB)
        right.set(ylabel="long-term spectrum, change (dB)")
        change = did.transient_change_db
        attack = "transients too few to tell"
        if isinstance(change, Quantity):
            middle, low, high = (signed_text(db, 1) for db in (change.value, change.low, change.high))
            attack = f"transients {middle} dB ({low} to {high})"
        main = f"crest factor {did.crest_dry_db:.1f} → {did.crest_processed_db:.1f} dB; {attack}"
        foot = (
            "Levels over 0.1 s, a full-scale sine is 0 dBFS. Spectrum in third octaves over the whole pair, "
            "the mean gain included. Transients: first 20 ms re the sound 50 to 150 ms later, median and "
            f"95 % interval over {did.transients}. Before matching."
        )
        title = "Levels and spectrum, in and out"
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    alt = f"Level out over level in, and change of the spectrum; {main}."
    return Drawing(figure, look, "levels-and-spectrum", title, alt, foot)


def draw_difference(made: MadePair, look: Look) -> Drawing:
    """Draw how deep the two null in each third octave, step by step."""
    null = made.null
    with settings(look):
        figure, (axes,) = new_figure(look)
        figure.subplots_adjust(left=0.095, right=0.76)
        for index, rung in enumerate(null.rungs):
            axes.plot(null.band_hz, rung.band_depth_db, markevery=3, **look.series(index))
        frequency_axis(axes)
        least_span(axes, 20.0)
        axes.set_ylabel("difference re processed sound (dB)")
        labels = [
            EndLabel(
                f"{rung.step} {number_text(rung.depth_db, 1)} dB",
                float(rung.band_depth_db[-1]),
                look.series(k)["color"],
            )
            for k, rung in enumerate(null.rungs)
        ]
        label_ends(axes, labels, look, width=26)
        first, last = null.rungs[0], null.rungs[-1]
        main = f"taken away in turn; {first.limit} limits the first, {last.limit} the last"
        foot = (
            "Energy of the difference over that of the processed sound in third octaves; each step takes "
            "away one thing more, the numbers are over all bands. A deep null proves likeness; a shallow one "
            "tells only what limits it."
        )
        title = "What is left between the two"
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    return Drawing(
        figure, look, "difference", title, f"{title}, by frequency and step. {null.sentence}", foot
    )
