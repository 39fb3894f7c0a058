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
_HOMES = {  # name -> module it comes from, below charprobe
    "open_capture": "files.sound.sound_file",
    "MemoryCapture": "files.sound.source",
    "load_recipe": "stimulus.recipe",
    "write_stimulus": "stimulus.write",
    "load_stimulus": "stimulus.cue_sheet",
    "check": "measuring.check",
    "measure": "measuring.measure",
    "load_volts": "profile.volts_file",
    "Profile": "profile.profile",
    "load_profile": "profile.profile",
    "compare_profiles": "comparing.compare",
    "load_session": "session.file",
    "run_session": "publishing.session_folder",
    "make_pair": "listening.ab",
    "plot_anchored_curve": "publishing.figures.static",
    "plot_anchored_overlay": "publishing.figures.overlay",
    "plot_band_levels": "publishing.figures.pair_picture",
    "plot_band_change": "publishing.figures.pair_picture",
    "plot_burst_train": "publishing.figures.timing.train",
    "plot_colour_map": "publishing.figures.colour_map",
    "plot_colour_readings": "publishing.figures.colour_card",
    "plot_difference": "publishing.figures.listening",
    "plot_gain_histogram": "publishing.figures.listening",
    "plot_gain_trace": "publishing.figures.timing.gain_trace",
    "plot_harmonic_bars": "publishing.figures.colour_card",
    "plot_harmonics": "publishing.figures.harmonics",
    "plot_levels": "publishing.figures.listening",
    "plot_memory": "publishing.figures.timing.memory",
    "plot_noise": "publishing.figures.noise",
    "plot_phase": "publishing.figures.response",
    "plot_programme_gain": "publishing.figures.listening",
    "plot_replica": "publishing.figures.replica",
    "plot_response": "publishing.figures.response",
    "plot_spectrum_change": "publishing.figures.listening",
    "plot_static_curve": "publishing.figures.static",
    "plot_static_overlay": "publishing.figures.overlay",
    "plot_timing_overlay": "publishing.figures.overlay",
    "plot_transfer": "publishing.figures.transfer",
    "plot_transfer_departure": "publishing.figures.transfer",
    "summarise": "publishing.summary",
    "summarise_all": "publishing.summary",
    "Quantity": "values.quantity",
    "Unmeasured": "values.quantity",
    "CharprobeError": "values.errors",
}


def __getattr__(name: str) -> object:
    """Load a name of the front door from where it lives."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"charprobe.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    """List what is loaded and what can be."""
    return sorted({*globals(), *__all__})
