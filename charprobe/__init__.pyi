"""The library's front door: every name that it has, and where it lives."""

from charprobe.comparing.compare import compare_profiles as compare_profiles
from charprobe.files.sound.sound_file import open_capture as open_capture
from charprobe.files.sound.source import MemoryCapture as MemoryCapture
from charprobe.listening.ab import make_pair as make_pair
from charprobe.measuring.check import check as check
from charprobe.measuring.measure import measure as measure
from charprobe.profile.profile import Profile as Profile, load_profile as load_profile
from charprobe.profile.volts_file import load_volts as load_volts
from charprobe.publishing.figures.colour_card import (
    plot_colour_readings as plot_colour_readings,
    plot_harmonic_bars as plot_harmonic_bars,
)
from charprobe.publishing.figures.colour_map import plot_colour_map as plot_colour_map
from charprobe.publishing.figures.harmonics import plot_harmonics as plot_harmonics
from charprobe.publishing.figures.listening import (
    plot_difference as plot_difference,
    plot_gain_histogram as plot_gain_histogram,
    plot_levels as plot_levels,
    plot_programme_gain as plot_programme_gain,
    plot_spectrum_change as plot_spectrum_change,
)
from charprobe.publishing.figures.noise import plot_noise as plot_noise
from charprobe.publishing.figures.overlay import (
    plot_anchored_overlay as plot_anchored_overlay,
    plot_static_overlay as plot_static_overlay,
    plot_timing_overlay as plot_timing_overlay,
)
from charprobe.publishing.figures.pair_picture import (
    plot_band_change as plot_band_change,
    plot_band_levels as plot_band_levels,
)
from charprobe.publishing.figures.replica import plot_replica as plot_replica
from charprobe.publishing.figures.response import plot_phase as plot_phase, plot_response as plot_response
from charprobe.publishing.figures.static import (
    plot_anchored_curve as plot_anchored_curve,
    plot_static_curve as plot_static_curve,
)
from charprobe.publishing.figures.timing.gain_trace import plot_gain_trace as plot_gain_trace
from charprobe.publishing.figures.timing.memory import plot_memory as plot_memory
from charprobe.publishing.figures.timing.train import plot_burst_train as plot_burst_train
from charprobe.publishing.figures.transfer import (
    plot_transfer as plot_transfer,
    plot_transfer_departure as plot_transfer_departure,
)
from charprobe.publishing.session_folder import run_session as run_session
from charprobe.publishing.summary import summarise as summarise, summarise_all as summarise_all
from charprobe.session.file import load_session as load_session
from charprobe.stimulus.cue_sheet import load_stimulus as load_stimulus
from charprobe.stimulus.recipe import load_recipe as load_recipe
from charprobe.stimulus.write import write_stimulus as write_stimulus
from charprobe.values.errors import CharprobeError as CharprobeError
from charprobe.values.quantity import Quantity as Quantity, Unmeasured as Unmeasured

__version__: str
__all__: list[str]
