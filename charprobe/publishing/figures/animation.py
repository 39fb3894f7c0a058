"""Figures that move, for a video: the static curve walked by a point, and the gain drawing itself."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from charprobe.files import output
from charprobe.profile.entry import rows_of
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import log_time_axis
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, figure_stem, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, LOOKS, Look, panel, settings
from charprobe.publishing.figures.points import change_done, has_reduction, static_points
from charprobe.values.arrays import Array
from charprobe.values.errors import OutputError, ProfileError

FRAMES_PER_S, LENGTH_S, REST_S = 30, 6.0, 1.0  # the last picture stands for REST_S
BEFORE_HALF = 40.0  # a panel over time begins so many times before half of the change is done
MOVING_LOOKS = ("video", "video-dark")  # 1920 x 1080, light and dark


@dataclass(frozen=True)
class Motion:
    """A figure and what moves in it: called with a share of the way, it sets the moving parts."""

    drawing: Drawing
    parts: tuple[Artist, ...]
    move: Callable[[float], None]


def animate(
    profile: Profile, folder: Path, *, force: bool, looks: Sequence[str] = MOVING_LOOKS
) -> tuple[Path, ...]:
    """Write every moving figure of a profile: MP4 where the system has ffmpeg, else numbered PNG pictures.

    `ProfileError` if nothing of the profile can move; `OutputError` if a file exists and `force` is false,
    cannot be written, or the encoder fails.
    """
    output.prepare_folder(folder)
    makers = _makers(profile)
    if not makers:
        raise ProfileError(
            f"{who(profile)}: neither a static curve nor a gain trace to animate: measure with a recipe "
            "that has level steps or bursts"
        )
    written: list[Path] = []
    for name in looks:
        for draw in makers:
            motion = draw(profile, LOOKS[name])
            assert motion is not None
            stem = f"{figure_stem(profile)}-{motion.drawing.name}-{name}"
            written += _write(pictures(motion), folder, stem, force=force)
    return tuple(written)


def moves(profile: Profile) -> bool:
    """Tell whether something of a profile can move."""
    return bool(_makers(profile))


def _makers(profile: Profile) -> list[Callable[[Profile, Look], Motion | None]]:
    return [draw for draw in (_walked_curve, _drawn_gain) if draw(profile, ARTICLE_LOOK) is not None]


def pictures(motion: Motion) -> Iterator[bytes]:
    """Yield the frames of a moving figure as RGBA bytes; only what moves is drawn again."""
    figure = motion.drawing.figure
    canvas = figure.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    with settings(motion.drawing.look):
        for part in motion.parts:
            part.set_animated(True)
        canvas.draw()  # type: ignore[no-untyped-call]  # the canvas has no types
        still = canvas.copy_from_bbox(figure.bbox)  # type: ignore[no-untyped-call]  # the canvas has no types
        count = round(FRAMES_PER_S * LENGTH_S)
        moving = count - round(FRAMES_PER_S * REST_S)
        for number in range(count):
            canvas.restore_region(still)  # type: ignore[no-untyped-call]  # the canvas has no types
            motion.move(min(1.0, (number + 1) / moving))
            for part in motion.parts:
                assert part.axes is not None
                part.axes.draw_artist(part)
            yield bytes(canvas.buffer_rgba())  # type: ignore[no-untyped-call]  # the canvas has no types


def _walked_curve(profile: Profile, look: Look) -> Motion | None:
    if "static" not in profile.curves or not rows_of(profile.curves["static"]):
        return None
    level, out = static_points(profile, "output_dbfs")
    if level.size < 2:
        return None
    held: list[Any] = []

    def plot(axes: Any, *, look: Look) -> Any:
        with panel(axes, look) as drawn:
            drawn.plot(level, out, **(look.series(0) | {"marker": ""}))
            drawn.axline((level[0], level[0]), slope=1, color=look.palette.soft, linewidth=1)
            drawn.set(xlabel="input level (dBFS)", ylabel="output level (dBFS)")
            (point,) = drawn.plot([], [], "o", color=look.palette.series[1], markersize=22)
            words = drawn.text(0.03, 0.95, "", transform=drawn.transAxes, va="top", weight="bold")
            held.extend((point, words))
        return drawn

    main = f"threshold {in_words(profile, 'static.threshold')}, ratio {in_words(profile, 'static.ratio')}"
    drawing = composed(
        "static-walk", look, [plot], title=f"Static curve – {who(profile)}", main=main,
        conditions=conditions(profile, ["static.threshold"]), alt=f"A point walks the static curve. {main}.",
    )  # fmt: skip
    point, words = held

    def move(share: float) -> None:
        x = level[0] + share * (level[-1] - level[0])
        y = float(np.interp(x, level, out))
        point.set_data([x], [y])
        words.set_text(f"in {x:.1f} dBFS, out {y:.1f} dBFS".replace("-", "−"))

    return Motion(drawing, (point, words), move)


def _drawn_gain(profile: Profile, look: Look) -> Motion | None:
    if "gain_trace" not in profile.curves or not has_reduction(profile):
        return None
    curves = [(edge, *change_done(profile, edge)) for edge in ("attack", "release")]
    if any(time_s.size < 2 for _, time_s, _ in curves):
        return None
    lines: list[Any] = []

    def plot_edge(edge: str, time_s: Array, share: Array) -> Callable[..., Any]:
        def plot(axes: Any, *, look: Look) -> Any:
            with panel(axes, look) as drawn:
                style = look.series(0) | {"marker": ""}
                drawn.plot(1e3 * time_s, share, **(style | {"color": look.palette.grid}))  # where it will go
                (line,) = drawn.plot(1e3 * time_s, share, **style)
                half = time_s[np.argmax(share > 50)] if (share > 50).any() else time_s[-1]
                first = max(float(time_s[0]), float(half) / BEFORE_HALF)
                log_time_axis(drawn, first=1e3 * first, last=1e3 * float(time_s[-1]))
                drawn.set_ylim(-5, 112)
                word = "rising" if edge == "attack" else "falling"
                drawn.set(title=edge.capitalize(), xlabel=f"time from the {word} edge (ms)")
                drawn.set_ylabel("gain change done (%)")
                lines.append(line)
            return drawn

        return plot

    main = ", ".join(f"{edge} t63 {in_words(profile, f'{edge}.t63')}" for edge in ("attack", "release"))
    drawing = composed(
        "gain-drawn", look, [plot_edge(*curve) for curve in curves],
        title=f"Attack and release – {who(profile)}", main=main,
        conditions=conditions(profile, ["attack.t63"]), alt=f"The gain draws itself after each edge. {main}.",
    )  # fmt: skip

    def move(share: float) -> None:
        for index, (line, (_, time_s, done)) in enumerate(zip(lines, curves, strict=True)):
            own = min(1.0, max(0.0, 2 * share - index))  # first the attack, then the release
            first, last = np.log(line.axes.get_xlim())  # as fast everywhere on the axis
            upto = int(np.searchsorted(1e3 * time_s, np.exp(first + own * (last - first)))) if own else 0
            line.set_data(1e3 * time_s[:upto], done[:upto])

    return Motion(drawing, tuple(lines), move)


def _write(frames: Iterator[bytes], folder: Path, stem: str, *, force: bool) -> list[Path]:
    frame = LOOKS[MOVING_LOOKS[0]].frame
    size = round(frame.width_in * frame.dpi), round(frame.height_in * frame.dpi)
    encoder = shutil.which("ffmpeg")
    if encoder is None:
        return _write_pictures(frames, size, folder, stem, force=force)
    path = folder / f"{stem}.mp4"
    output.check_writable(path, force=force)
    raw = ["-f", "rawvideo", "-pix_fmt", "rgba", "-s", f"{size[0]}x{size[1]}", "-r", str(FRAMES_PER_S)]
    coded = ["-pix_fmt", "yuv420p", "-movflags", "+faststart", str(path)]
    command = [encoder, "-y", "-loglevel", "error", *raw, "-i", "-", *coded]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdin is not None
        assert running.stderr is not None
        try:
            for picture in frames:
                running.stdin.write(picture)
            running.stdin.close()
        except BrokenPipeError:
            pass  # it says why below
        said = running.stderr.read().decode("utf-8", "replace").strip()
    if running.returncode:
        path.unlink(missing_ok=True)
        raise OutputError(f"{path}: the system's ffmpeg could not write it ({said}). Nothing was kept")
    return [path]


def _write_pictures(
    frames: Iterator[bytes], size: tuple[int, int], folder: Path, stem: str, *, force: bool
) -> list[Path]:
    place = folder / stem
    output.prepare_folder(place)
    paths = []
    for number, picture in enumerate(frames):
        path = place / f"{number:04d}.png"
        output.check_writable(path, force=force)
        stream = io.BytesIO()
        Image.frombytes("RGBA", size, picture).convert("RGB").save(stream, format="PNG")
        output.write_bytes(path, stream.getvalue(), force=force)
        paths.append(path)
    return paths
