"""Measure the colour and dynamics stages built into a recording path from captures of known stimuli.

The names below are the library's front door, each loaded when it is asked for; ``docs/library.md`` is a tour.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from charprobe.comparing.compare import compare_profiles
    from charprobe.files.sound.sound_file import open_capture
    from charprobe.files.sound.source import MemoryCapture
    from charprobe.listening.ab import make_pair
    from charprobe.measuring.check import check
    from charprobe.measuring.measure import measure
    from charprobe.profile.profile import Profile, load_profile
    from charprobe.profile.volts_file import load_volts
    from charprobe.publishing.figures.colour_card import plot_colour_readings, plot_harmonic_bars
    from charprobe.publishing.figures.colour_map import plot_colour_map
    from charprobe.publishing.figures.harmonics import plot_harmonics
    from charprobe.publishing.figures.listening import (
        plot_difference,
        plot_gain_histogram,
        plot_levels,
        plot_programme_gain,
        plot_spectrum_change,
    )
    from charprobe.publishing.figures.noise import plot_noise
    from charprobe.publishing.figures.overlay import (
        plot_anchored_overlay,
        plot_static_overlay,
        plot_timing_overlay,
    )
    from charprobe.publishing.figures.pair_picture import plot_band_change, plot_band_levels
    from charprobe.publishing.figures.replica import plot_replica
    from charprobe.publishing.figures.response import plot_phase, plot_response
    from charprobe.publishing.figures.static import plot_anchored_curve, plot_static_curve
    from charprobe.publishing.figures.timing.gain_trace import plot_gain_trace
    from charprobe.publishing.figures.timing.memory import plot_memory
    from charprobe.publishing.figures.timing.train import plot_burst_train
    from charprobe.publishing.figures.transfer import plot_transfer, plot_transfer_departure
    from charprobe.publishing.session_folder import run_session
    from charprobe.publishing.summary import summarise, summarise_all
    from charprobe.session.file import load_session
    from charprobe.stimulus.cue_sheet import load_stimulus
    from charprobe.stimulus.recipe import load_recipe
    from charprobe.stimulus.write import write_stimulus
    from charprobe.values.errors import CharprobeError
    from charprobe.values.quantity import Quantity, Unmeasured

__version__ = "0.1.0"
__all__ = [
    "CharprobeError",
    "MemoryCapture",
    "Profile",
    "Quantity",
    "Unmeasured",
    "check",
    "compare_profiles",
    "load_profile",
    "load_recipe",
    "load_session",
    "load_stimulus",
    "load_volts",
    "make_pair",
    "measure",
    "open_capture",
    "plot_anchored_curve",
    "plot_anchored_overlay",
    "plot_band_change",
    "plot_band_levels",
    "plot_burst_train",
    "plot_colour_map",
    "plot_colour_readings",
    "plot_difference",
    "plot_gain_histogram",
    "plot_gain_trace",
    "plot_harmonic_bars",
    "plot_harmonics",
    "plot_levels",
    "plot_memory",
    "plot_noise",
    "plot_phase",
    "plot_programme_gain",
    "plot_replica",
    "plot_response",
    "plot_spectrum_change",
    "plot_static_curve",
    "plot_static_overlay",
    "plot_timing_overlay",
    "plot_transfer",
    "plot_transfer_departure",
    "run_session",
    "summarise",
    "summarise_all",
    "write_stimulus",
]
_NAMES = {  # module below charprobe -> names that come from it
    "files.sound.sound_file": ("open_capture",),
    "files.sound.source": ("MemoryCapture",),
    "stimulus.recipe": ("load_recipe",),
    "stimulus.write": ("write_stimulus",),
    "stimulus.cue_sheet": ("load_stimulus",),
    "measuring.check": ("check",),
    "measuring.measure": ("measure",),
    "profile.volts_file": ("load_volts",),
    "profile.profile": ("Profile", "load_profile"),
    "comparing.compare": ("compare_profiles",),
    "session.file": ("load_session",),
    "publishing.session_folder": ("run_session",),
    "listening.ab": ("make_pair",),
    "publishing.figures.static": ("plot_anchored_curve", "plot_static_curve"),
    "publishing.figures.overlay": ("plot_anchored_overlay", "plot_static_overlay", "plot_timing_overlay"),
    "publishing.figures.pair_picture": ("plot_band_levels", "plot_band_change"),
    "publishing.figures.timing.train": ("plot_burst_train",),
    "publishing.figures.colour_map": ("plot_colour_map",),
    "publishing.figures.colour_card": ("plot_colour_readings", "plot_harmonic_bars"),
    "publishing.figures.listening": (
        "plot_difference",
        "plot_gain_histogram",
        "plot_levels",
        "plot_programme_gain",
        "plot_spectrum_change",
    ),
    "publishing.figures.timing.gain_trace": ("plot_gain_trace",),
    "publishing.figures.harmonics": ("plot_harmonics",),
    "publishing.figures.timing.memory": ("plot_memory",),
    "publishing.figures.noise": ("plot_noise",),
    "publishing.figures.response": ("plot_phase", "plot_response"),
    "publishing.figures.replica": ("plot_replica",),
    "publishing.figures.transfer": ("plot_transfer", "plot_transfer_departure"),
    "publishing.summary": ("summarise", "summarise_all"),
    "values.quantity": ("Quantity", "Unmeasured"),
    "values.errors": ("CharprobeError",),
}
_HOMES = {name: module for module, names in _NAMES.items() for name in names}


def __getattr__(name: str) -> object:
    """Load a name of the front door from where it lives."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"charprobe.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    """List what is loaded and what can be."""
    return sorted({*globals(), *__all__})
