"""What a stage did to real material, and what is left between a pair."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from charprobe.files.output import prepare_folder
from charprobe.listening.ab import MadePair
from charprobe.publishing.figures.look.axes import frequency_axis, least_span
from charprobe.publishing.figures.look.drawing import Drawing, composed, save_drawing
from charprobe.publishing.figures.look.labels import EndLabel, label_ends
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.publishing.figures.pair_picture import draw_pair_picture
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text, signed_text

COLUMNS = 1200  # points along a figure; each shows the whole span of what it stands for
LEAST_CHANGE_DB = 2.0  # a spectrum that stays looks flat


def save_listening(made: MadePair, folder: Path, look: Look, *, force: bool) -> tuple[Path, ...]:
    """Write all figures of a pair to a folder, made if need be; errors as in `save_drawing`."""
    prepare_folder(folder)
    drawn = (draw(made, look) for draw in (draw_gain, draw_levels, draw_difference, draw_pair_picture))
    return tuple(path for one in drawn for path in save_drawing(one, folder, stem=one.name, force=force))


def draw_gain(made: MadePair, look: Look) -> Drawing:
    """Draw gain over time with its interval, and beside it how long the gain spends where."""
    trace = made.did.trace
    if trace.known.any():
        spread = np.percentile(trace.gain_db[trace.known], [5, 50, 95])
        low, middle, high = (number_text(float(value), 1) for value in spread)
        main = f"nine tenths of the time between {low} and {high} dB, middle {middle} dB"
    else:
        main = "known at no moment"
    drawing = composed(
        "gain-over-time",
        look,
        [partial(plot_programme_gain, made), partial(plot_gain_histogram, made)],
        title="Gain over time",
        main=main,
        conditions=f"Gain fitted to the material in windows of {1e3 * trace.window_s:.1f} ms, make-up "
        f"included; faster changes are smoothed. Too quiet to tell in {100 * (1 - trace.known.mean()):.0f} % "
        f"of the time. Saturation counts as gain as far as it follows the sound; the interval allows for it.",
        alt=f"Gain over time and its histogram: {main}.",
    )
    for axes, (left, width) in zip(drawing.figure.axes, ((0.08, 0.62), (0.76, 0.21)), strict=True):
        axes.set_position((left, axes.get_position().y0, width, axes.get_position().height))
    return drawing


def plot_programme_gain(made: MadePair, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot the gain (dB) of a pair's processed side over time (s), with its interval."""
    trace = made.did.trace
    time_s, low, high = _spans(trace.time_s, trace.low_db, trace.high_db, trace.known)
    _, least, most = _spans(trace.time_s, trace.gain_db, trace.gain_db, trace.known)
    with panel(ax, look) as axes:
        colour, width = look.palette.series[0], look.frame.line_pt / 2
        axes.fill_between(time_s, low, high, color=look.palette.grid, label="95 % interval")
        axes.fill_between(time_s, least, most, color=colour, linewidth=width, label="gain")
        axes.set_ylim(*_gain_limits(made))
        axes.set(xlabel="time from the first common sample (s)", ylabel="gain, processed re dry (dB)")
        axes.legend(loc="lower right", ncols=2)
    return axes


def plot_gain_histogram(made: MadePair, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot the share of time (%) that the gain of a pair's processed side spends at each height (dB)."""
    did = made.did
    with panel(ax, look) as axes:
        shares = 100 * did.histogram_share
        axes.barh(did.histogram_gain_db, shares, height=0.42, color=look.palette.series[0])
        axes.set_ylim(*_gain_limits(made))
        axes.set(xlabel="share of time (%)")
    return axes


def _gain_limits(made: MadePair) -> tuple[float, float]:
    """Lowest and highest gain (dB) drawn: all but the rarest, with some room."""
    trace = made.did.trace
    known_db = trace.gain_db[trace.known] if trace.known.any() else np.zeros(1)
    low, high = np.percentile(known_db, [0.05, 99.95])
    return float(low) - 1.5, float(high) + 1.5


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
    change = did.transient_change_db
    attack = "transients too few to tell"
    if isinstance(change, Quantity):
        middle, low, high = (signed_text(db, 1) for db in (change.value, change.low, change.high))
        attack = f"transients {middle} dB ({low} to {high})"
    main = f"crest factor {did.crest_dry_db:.1f} → {did.crest_processed_db:.1f} dB; {attack}"
    return composed(
        "levels-and-spectrum",
        look,
        [partial(plot_levels, made), partial(plot_spectrum_change, made)],
        title="Levels and spectrum, in and out",
        main=main,
        conditions="Levels over 0.1 s, a full-scale sine is 0 dBFS. Spectrum in third octaves over the whole "
        "pair, the mean gain included. Transients: first 20 ms re the sound 50 to 150 ms later, median and "
        f"95 % interval over {did.transients}. Before matching.",
        alt=f"Level out over level in, and change of the spectrum; {main}.",
        wspace=0.3,
    )


def plot_levels(made: MadePair, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot the short-term level of a pair's processed side against that of the dry one (both dBFS)."""
    did = made.did
    ends = np.array([did.level_in_dbfs.min(), did.level_in_dbfs.max()])
    with panel(ax, look) as axes:
        colour, size = look.palette.series[0], look.frame.marker_pt
        levels = (did.level_in_dbfs, did.level_out_dbfs)
        axes.scatter(*levels, label="each 0.1 s", color=colour, s=size, linewidths=0, alpha=0.5)
        straight = look.series(1) | {"marker": "", "linestyle": (0, (5, 3))}
        axes.plot(ends, ends, label="unchanged", **straight)
        axes.set(xlabel="level of the dry sound (dBFS)", ylabel="level of the processed sound (dBFS)")
        axes.legend(loc="upper left")
    return axes


def plot_spectrum_change(made: MadePair, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot the change of a pair's long-term spectrum (dB) over frequency (Hz)."""
    with panel(ax, look) as axes:
        axes.plot(made.did.band_hz, made.did.band_change_db, **(look.series(0) | {"marker": ""}))
        axes.axhline(0.0, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        frequency_axis(axes)
        least_span(axes, LEAST_CHANGE_DB)
        axes.set(ylabel="long-term spectrum, change (dB)")
    return axes


def draw_difference(made: MadePair, look: Look) -> Drawing:
    """Draw how deep the two null in each third octave, step by step."""
    first, last = made.null.rungs[0], made.null.rungs[-1]
    title = "What is left between the two"
    return composed(
        "difference",
        look,
        [partial(plot_difference, made)],
        title=title,
        main=f"taken away in turn; {first.limit} limits the first, {last.limit} the last",
        conditions="Energy of the difference over that of the processed sound in third octaves; each step "
        "takes away one thing more, the numbers are over all bands. A deep null proves likeness; a shallow "
        "one tells only what limits it.",
        alt=f"{title}, by frequency and step. {made.null.sentence}",
        left=0.095,
        right=0.76,
    )


def plot_difference(made: MadePair, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot the difference of a pair re its processed side (dB) over frequency (Hz), a curve per step."""
    labels = []
    with panel(ax, look) as axes:
        for index, rung in enumerate(made.null.rungs):
            axes.plot(made.null.band_hz, rung.band_depth_db, markevery=3, **look.series(index))
            name = f"{rung.step} {number_text(rung.depth_db, 1)} dB"
            labels.append(EndLabel(name, float(rung.band_depth_db[-1]), look.palette.series[index]))
        frequency_axis(axes)
        least_span(axes, 20.0)
        axes.set_ylabel("difference re processed sound (dB)")
        label_ends(axes, labels, look, width=26)
    return axes
