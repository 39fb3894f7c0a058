"""Curves of invented settings that few profiles have, and what is found on a drawn figure."""

import matplotlib as mpl
import numpy as np

from charprobe.profile.entry import Table

NOISE = Table(
    {
        "frequency_hz": [31.5, 1000.0],
        "density_dbfs_per_hz": [-130.0, -140.0],
        "bypass_density_dbfs_per_hz": [None] * 2,
    },
    {"frequency_hz": "Hz", "density_dbfs_per_hz": "dBFS/Hz", "bypass_density_dbfs_per_hz": "dBFS/Hz"},
)


INPUT = np.linspace(-0.5, 0.5, 11)
TRANSFER = Table(
    {
        "input": INPUT.tolist(),
        "output": (2 * INPUT - 0.4 * INPUT**3).tolist(),
        "line": (2 * INPUT).tolist(),
        "deviation": (-0.4 * INPUT**3).tolist(),
        "frequency_hz": [997.0] * 11,
        "drive_dbfs": [-6.0] * 11,
        "memory": [False] * 11,
    },
    {
        "input": "FS",
        "output": "FS",
        "line": "FS",
        "deviation": "FS",
        "frequency_hz": "Hz",
        "drive_dbfs": "dBFS",
        "memory": "",
    },
)


TRAIN = Table(
    {
        "burst": [1, 2, 3],
        "start_s": [0.0, 0.2, 0.4],
        "stop_s": [0.1, 0.3, 0.5],
        "before_db": [0.0, -2.0, -2.1],
        "end_db": [-6.0, -6.5, -6.6],
        "std_db": [0.01] * 3,
    },
    {"burst": "", "start_s": "s", "stop_s": "s", "before_db": "dB", "end_db": "dB", "std_db": "dB"},
)
TRAIN_TRACE = Table(
    {
        "time_s": [-0.1, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7],
        "gain_db": [0, 0, -6.0, -2.0, -6.5, -2.1, -6.6, -1.0],
    },
    {"time_s": "s", "gain_db": "dB"},
)


def three_holds(timing):
    """The burst of a profile held 0.4, 0.03 and 3 s; the release doubles with each tenfold length."""
    scale = {"hold_s": (1, 0.075, 7.5)} | {f"release_{word}_s": (1, 0.5, 2) for word in ("t50", "t63", "t90")}
    columns = {
        name: [None if cells[0] is None else cells[0] * factor for factor in scale.get(name, (1, 1, 1))]
        for name, cells in timing.columns.items()
    }
    return Table(columns, timing.units)


def lines(drawing, panel):
    return {line.get_label(): line for line in drawing.figure.axes[panel].lines}


def points(axes, label):
    bars = {container.get_label(): container for container in axes.containers}
    return bars[label].lines[0]


def texts(drawing):
    return [item.get_text() for item in drawing.figure.findobj(mpl.text.Text) if item.get_text().strip()]
