"""Faults of the bench alone, which no command of the package can make: their sizes and what tells them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from charprobe.values.arrays import Array
from tests.benchmarks import bad_day_faults as bad_day
from tests.benchmarks import cable_faults as cable
from tests.benchmarks import desk_faults as desk
from tests.benchmarks import driver_faults as driver
from tests.benchmarks import everyday_faults as everyday
from tests.benchmarks import export_faults as export
from tests.benchmarks import messy_faults as messy
from tests.benchmarks import rack_faults as rack
from tests.benchmarks import studio_faults as studio
from tests.benchmarks import workshop_faults as workshop


@dataclass(frozen=True)
class BenchFault:
    """One fault: unit of its size, three sizes, ``apply(capture, size, rate_hz)``, the codes that tell it.

    `path` tells that a stage may do the same: it counts only where the bypass has it, too. `played` tells that it
    happens to what goes into the stage.
    """

    unit: str
    sizes: tuple[float, float, float]
    apply: Callable[[Array, float, float], Array]
    family: frozenset[str]
    path: bool = False
    played: bool = False


def _fault(
    unit: str,
    sizes: tuple[float, float, float],
    apply: Callable[[Array, float, float], Array],
    family: str,
    *,
    path: bool = False,
    played: bool = False,
) -> BenchFault:
    return BenchFault(unit, sizes, apply, frozenset(family.split()), path, played)


BENCH_FAULTS: dict[str, BenchFault] = {
    "clock-changes": _fault("ppm", (2, 20, 200), driver.clock_changes, "clock-drift timing-jump"),
    "limiter-in-path": _fault("dB re peak", (-1, -6, -20), driver.limiter, "automatic-gain", path=True),
    "slow-gain": _fault("dB", (0.5, 3, 12), driver.slow_gain, "automatic-gain level-drift", path=True),
    "channels-swap": _fault(
        "dB", (-0.05, 0.4, -3), driver.channels_swap, "gain-step level-drift timing-jump dropout channel-swapped"
    ),
    "polarity-flips": _fault(
        "of the length", (0.8, 0.5, 0.3), driver.polarity_flips, "dropout timing-jump polarity-inverted"
    ),
    "notch": _fault("dB", (1, 6, 30), driver.notch, "two-paths uneven-path", path=True),
    "reflection": _fault("dB", (-35, -20, -8), driver.reflection, "two-paths"),
    "stale-buffer": _fault("samples", (32, 512, 8192), driver.stale_buffer, "dropout timing-jump reordered"),
    "slips": _fault("times", (1, 5, 40), driver.slips, "dropout timing-jump clock-drift"),
    "offset-creeps": _fault("of full scale", (0.001, 0.01, 0.1), driver.offset_creeps, "dc-offset"),
    "ripple": _fault("%", (0.02, 0.2, 2), driver.ripple, "automatic-gain hum", path=True),
    "punched-in": _fault("dB", (0.02, 0.2, 2), driver.punched_in, "gain-step timing-jump dropout level-drift"),
    "telephone": _fault("dBFS", (-80, -60, -35), driver.telephone, "spur foreign-noise"),
    "rumble": _fault("dBFS", (-80, -60, -40), driver.rumble, "spur foreign-noise hum"),
    "jitter": _fault("ns", (1, 20, 300), driver.jitter, "clock-drift lossy-coded"),
    "soft-converter": _fault("dB", (-90, -70, -45), driver.soft_converter, "clipped-below-full-scale", path=True),
    "loose-plug": _fault("dB", (-0.2, -1, -10), driver.loose_plug, "gain-step dropout level-drift"),
    "compander": _fault("%", (2, 10, 50), driver.compander, "automatic-gain", path=True),
    "playback-overload": _fault(
        "dB", (0.3, 1, 6), desk.playback_overload, "clipped-below-full-scale automatic-gain clipped normalised",
        path=True, played=True,
    ),
    "standby-relay": _fault("s", (0.003, 0.05, 0.4), desk.standby_relay, "dropout idle-mute automatic-gain start-missing"),
    "resync": _fault("samples", (64, 480, 4800), desk.resync, "timing-jump dropout gap-edited reordered"),
    "servo-step": _fault("of full scale", (0.001, 0.01, 0.1), desk.servo_step, "click dc-offset spur foreign-noise dropout"),
    "click-track": _fault("dBFS", (-85, -65, -40), desk.click_track, "spur foreign-noise click"),
    "dimmer": _fault("dBFS", (-85, -65, -40), desk.dimmer, "hum spur foreign-noise click"),
    "rate-switch": _fault("%", (0.1, 4, 8.125), desk.rate_switch, "timing-jump clock-drift dropout truncated gap-edited"),
    "bits-change": _fault("bits", (16, 13, 9), desk.bits_change, "few-bits foreign-noise lossy-coded idle-mute"),
    "soft-unmute": _fault("s", (0.005, 0.02, 0.1), desk.soft_unmute, "automatic-gain idle-mute dropout", path=True),
    "hum-burst": _fault("dBFS", (-80, -60, -40), desk.hum_burst, "hum spur foreign-noise"),
    "pot-scratch": _fault("dB", (0.2, 1, 10), desk.pot_scratch, "click dropout gain-step level-drift"),
    "concealed-packets": _fault("packets", (1, 6, 40), desk.concealed_packets, "dropout click timing-jump reordered"),
    "neighbour-leaks": _fault("dB", (-70, -50, -30), desk.neighbour_leaks, "two-paths diffuse-tail spur foreign-noise"),
    "pulled-down": _fault("per mille", (0.1, 1, 4), export.pulled_down, "clock-drift rate-mislabelled"),
    "crossfaded": _fault("s", (0.005, 0.05, 0.5), export.crossfaded, "timing-jump gap-edited dropout"),
    "pause-cut": _fault("s", (0.005, 0.05, 0.2), export.pause_cut, "timing-jump gap-edited dropout"),
    "between-samples": _fault(
        "dB", (0.1, 0.5, 2), export.between_samples, "clipped clipped-below-full-scale automatic-gain", path=True,
    ),
    "stretched": _fault("%", (0.1, 1, 5), export.stretched, "timing-jump gap-edited clock-drift reordered lossy-coded dropout"),
    "denoised": _fault("dB", (3, 12, 40), export.denoised, "idle-mute lossy-coded automatic-gain"),
    "gated": _fault("dBFS", (-75, -60, -45), export.gated, "idle-mute automatic-gain dropout"),
    "brown-out": _fault("dB", (0.1, 1, 3), export.brown_out, "automatic-gain level-drift gain-step", path=True),
    "stuck-bit": _fault("dBFS", (-100, -80, -50), export.stuck_bit, "few-bits lossy-coded clipped-below-full-scale", path=True),
    "dithered-twice": _fault("bits", (20, 16, 13), export.dithered_twice, "few-bits foreign-noise"),
    "low-cut": _fault("Hz", (15, 40, 80), export.low_cut, "uneven-path", path=True),
    "to-loudness": _fault("LUFS", (-23, -16, -14), export.to_loudness, "normalised"),
    "equaliser": _fault("dB", (0.3, 2, 9), studio.equaliser, "uneven-path", path=True),
    "clip-safe": _fault("dB", (-0.5, -3, -10), studio.clip_safe, "gain-step level-drift automatic-gain"),
    "loop-fade": _fault("s", (0.02, 0.3, 1), studio.loop_fade, "dropout gain-step level-drift click"),
    "compensation-moves": _fault("samples", (0.5, 64, 2048), studio.compensation_moves, "timing-jump dropout gap-edited"),
    "played-louder": _fault(
        "dB", (0.1, -1, -6), studio.played_louder, "gain-step level-drift", path=True, played=True,
    ),
    "offset-steps": _fault("of full scale", (0.001, 0.01, 0.1), studio.offset_steps, "dc-offset click dropout"),
    "widener": _fault("dB", (-40, -20, -6), studio.widener, "two-paths diffuse-tail"),
    "noise-shaped": _fault("bits", (16, 12, 8), studio.noise_shaped, "few-bits foreign-noise"),
    "word-slips": _fault("times", (1, 5, 40), studio.word_slips, "dropout timing-jump clock-drift"),
    "rate-matcher": _fault("ppm", (3, 30, 300), studio.rate_matcher, "clock-drift"),
    "two-converters": _fault(
        "dB", (0.02, 0.1, 0.5), studio.two_converters, "automatic-gain clipped-below-full-scale", path=True,
    ),
    "frame-whine": _fault("dBFS", (-100, -80, -60), studio.frame_whine, "spur foreign-noise hum"),
    "ducked": _fault("dB", (-0.3, -3, -12), studio.ducked, "gain-step dropout level-drift automatic-gain"),
    "brickwall": _fault("dB", (0.2, 1.5, 6), studio.brickwall, "normalised automatic-gain clipped clipped-below-full-scale"),
    "crackle": _fault("dBFS", (-80, -55, -30), cable.crackle, "click dropout spur foreign-noise"),
    "long-cable": _fault("Hz", (60_000, 25_000, 8_000), cable.long_cable, "uneven-path", path=True),
    "blocks-swap": _fault("samples", (32, 256, 2048), cable.blocks_swap, "dropout timing-jump reordered click"),
    "monitor-loop": _fault("dB", (-45, -25, -10), cable.monitor_loop, "two-paths diffuse-tail"),
    "dead-zone": _fault("of the peak", (1e-5, 1e-4, 1e-3), cable.dead_zone, "clipped-below-full-scale automatic-gain few-bits", path=True),
    "slow-amplifier": _fault("of its step", (0.95, 0.7, 0.3), cable.slow_amplifier, "clipped-below-full-scale automatic-gain", path=True),
    "missing-codes": _fault("of the peak", (1e-4, 1e-3, 1e-2), cable.missing_codes, "few-bits lossy-coded clipped-below-full-scale", path=True),
    "thump": _fault("dBFS", (-60, -40, -15), cable.thump, "spur foreign-noise hum click dropout"),
    "buzzing-phone": _fault("dBFS", (-85, -60, -35), cable.buzzing_phone, "spur foreign-noise hum"),
    "charging": _fault("of full scale", (0.003, 0.03, 0.3), cable.charging, "dc-offset"),
    "fan-starts": _fault("dBFS", (-95, -75, -55), cable.fan_starts, "foreign-noise spur"),
    "flutter": _fault("ppm", (5, 50, 500), cable.flutter, "clock-drift"),
    "frame-jitter": _fault("ns", (1, 10, 100), cable.frame_jitter, "clock-drift lossy-coded rate-converted spur"),
    "automation": _fault("dB", (0.05, 0.5, 3), cable.automation, "gain-step level-drift"),
    "flicker": _fault("%", (0.02, 0.2, 2), cable.flicker, "automatic-gain hum level-drift", path=True),
    "word-cut": _fault("bits", (20, 16, 12), cable.word_cut, "few-bits"),
    "detector-tone": _fault("dBFS", (-80, -55, -30), cable.detector_tone, "spur foreign-noise"),
    "wrapped": _fault("dB", (0.3, 1, 6), cable.wrapped, "clipped click dropout clipped-below-full-scale"),
    "tail-of-buffer": _fault("samples", (8, 64, 512), cable.tail_of_buffer, "dropout click timing-jump"),
    "held-samples": _fault("samples", (2, 3, 6), bad_day.held_samples, "rate-converted lossy-coded dropout uneven-path"),
    "chime": _fault("dBFS", (-85, -60, -35), bad_day.chime, "spur foreign-noise"),
    "phantom-pop": _fault("of full scale", (0.0003, 0.01, 0.5), bad_day.phantom_pop, "click dropout spur foreign-noise dc-offset"),
    "leg-lost": _fault("s", (0.02, 0.5, 8), bad_day.leg_lost, "gain-step level-drift dropout hum spur"),
    "clip-gain": _fault("dB", (0.05, -0.5, 6), bad_day.clip_gain, "gain-step level-drift"),
    "each-normalised": _fault("dBFS", (-12, -3, -0.1), bad_day.each_normalised, "gain-step level-drift normalised automatic-gain"),
    "warming-up": _fault("dB", (-0.05, -0.4, -3), bad_day.warming_up, "level-drift gain-step automatic-gain"),
    "stepped-fader": _fault("dB", (0.03, 0.3, 2), bad_day.stepped_fader, "gain-step level-drift dropout click automatic-gain"),
    "relocked": _fault("samples", (0.05, 1, 30), bad_day.relocked, "clock-drift timing-jump dropout"),
    "warped-piece": _fault("%", (0.05, 0.5, 6), bad_day.warped_piece, "timing-jump clock-drift gap-edited dropout"),
    "exchanged-neighbours": _fault("s", (0.0005, 0.02, 2), bad_day.exchanged_neighbours, "dropout click reordered timing-jump"),
    "short-mantissa": _fault("bits", (16, 12, 8), bad_day.short_mantissa, "few-bits lossy-coded rate-converted", path=True),
    "noisy-gain": _fault("dB", (-95, -75, -50), bad_day.noisy_gain, "lossy-coded automatic-gain", path=True),
    "one-side-flat": _fault("dB", (0.1, 1, 6), bad_day.one_side_flat, "clipped clipped-below-full-scale automatic-gain", path=True),
    "even-bend": _fault("dB", (-95, -70, -45), bad_day.even_bend, "clipped-below-full-scale automatic-gain", path=True),
    "uneven-codes": _fault("of the peak", (1e-5, 3e-4, 1e-2), bad_day.uneven_codes, "clipped-below-full-scale automatic-gain few-bits lossy-coded", path=True),
    "near-copy": _fault("dB", (-45, -20, -6), bad_day.near_copy, "uneven-path two-paths", path=True),
    "voice-mode": _fault("Hz", (20_000, 12_000, 4_000), bad_day.voice_mode, "uneven-path rate-converted", path=True),
    "sleepy-stage": _fault("dB", (-0.05, -0.5, -4), bad_day.sleepy_stage, "automatic-gain gain-step level-drift", path=True),
    "squelch": _fault("dBFS", (-100, -80, -50), bad_day.squelch, "spur foreign-noise idle-mute automatic-gain"),
    "de-emphasised": _fault("of its curve", (0.03, 0.3, 1), bad_day.de_emphasised, "uneven-path", path=True),
    "breaking-shield": _fault("dBFS", (-90, -65, -35), bad_day.breaking_shield, "hum spur foreign-noise click dropout"),
    "late-attenuator": _fault("dB", (0.5, 3, 12), bad_day.late_attenuator, "gain-step dropout automatic-gain level-drift click"),
    "pre-emphasised": _fault("of its curve", (0.03, 0.3, 1), rack.pre_emphasised, "uneven-path", path=True),
    "unsigned-word": _fault("bits", (24, 16, 12), rack.unsigned_word, "clipped non-finite dc-offset dropout"),
    "bytes-exchanged": _fault("s", (0.0005, 0.05, 2), rack.bytes_exchanged, "dropout click few-bits spur foreign-noise reordered"),
    "oxidised": _fault("of the peak", (1e-5, 1e-3, 0.03), rack.oxidised, "clipped-below-full-scale automatic-gain few-bits", path=True),
    "breathing-ground": _fault("dBFS", (-100, -75, -45), rack.breathing_ground, "hum spur foreign-noise lossy-coded", path=True),
    "moving-idle-tone": _fault("dBFS", (-100, -80, -55), rack.moving_idle_tone, "spur foreign-noise lossy-coded"),
    "breathing-gain": _fault("dB", (0.03, 0.2, 1.5), rack.breathing_gain, "level-drift gain-step automatic-gain"),
    "talkback": _fault("dBFS", (-85, -60, -35), rack.talkback, "spur foreign-noise"),
    "end-faded": _fault("dB", (0.05, 0.5, 20), rack.end_faded, "level-drift gain-step truncated automatic-gain"),
    "knocks": _fault("dBFS", (-85, -60, -35), rack.knocks, "spur foreign-noise click dropout"),
    "driver-gate": _fault("dB", (1, 6, 20), rack.driver_gate, "idle-mute automatic-gain", path=True),
    "slow-wow": _fault("ppm", (1, 20, 300), rack.slow_wow, "clock-drift"),
    "midscale-step": _fault("of the peak", (1e-5, 1e-4, 3e-3), rack.midscale_step, "clipped-below-full-scale automatic-gain few-bits lossy-coded", path=True),
    "iron-in-path": _fault("dB", (-90, -65, -45), rack.iron_in_path, "clipped-below-full-scale automatic-gain uneven-path", path=True),
    "sagging-path": _fault("dB", (0.02, 0.2, 2), rack.sagging_path, "automatic-gain clipped-below-full-scale", path=True),
    "print-through": _fault("dB", (-75, -55, -35), rack.print_through, "two-paths diffuse-tail spur foreign-noise"),
    "rough-piece": _fault("s", (0.01, 0.5, 5), rack.rough_piece, "rate-converted lossy-coded clock-drift dropout click"),
    "polarity-piece": _fault("s", (0.01, 0.3, 5), rack.polarity_piece, "dropout timing-jump polarity-inverted click"),
    "clock-walks": _fault("samples", (0.003, 0.05, 2), rack.clock_walks, "clock-drift lossy-coded"),
    "hidden-losses": _fault("times", (3, 100, 3000), rack.hidden_losses, "dropout click lossy-coded"),
    "self-bias": _fault("of the level", (1e-4, 1e-3, 0.03), rack.self_bias, "dc-offset clipped-below-full-scale", path=True),
    "shelf-switched": _fault("dB", (0.1, 0.6, 4), rack.shelf_switched, "gain-step level-drift timing-jump"),
    "time-code": _fault("dBFS", (-95, -70, -40), rack.time_code, "spur foreign-noise"),
    "drift-slips": _fault("samples", (1, 8, 32), messy.drift_slips, "dropout timing-jump clock-drift click"),
    "dithered-normal": _fault("dBFS", (-3, -1, -0.1), messy.dithered_normal, "normalised few-bits"),
    "open-microphone": _fault("dB", (-60, -40, -20), messy.open_microphone, "two-paths diffuse-tail"),
    "straight-filled": _fault("samples", (4, 32, 256), messy.straight_filled, "dropout click"),
    "scrape-flutter": _fault("ns", (3, 30, 300), messy.scrape_flutter, "clock-drift lossy-coded"),
    "stepping-code": _fault("bits", (8, 6, 4), messy.stepping_code, "lossy-coded few-bits"),
    "wandering-hum": _fault("dBFS", (-95, -70, -40), messy.wandering_hum, "hum spur foreign-noise"),
    "clock-warms": _fault("ppm", (1, 10, 100), messy.clock_warms, "clock-drift"),
    "heads-faded": _fault("s", (0.0005, 0.003, 0.02), messy.heads_faded, "gap-edited dropout automatic-gain idle-mute start-missing"),
    "mains-jitter": _fault("ns", (0.3, 5, 100), messy.mains_jitter, "clock-drift hum lossy-coded"),
    "motorboat": _fault("dBFS", (-90, -65, -40), messy.motorboat, "spur foreign-noise hum click"),
    "interleaved": _fault("of the gain", (1e-5, 3e-4, 1e-2), messy.interleaved, "rate-converted lossy-coded spur"),
    "comfort-noise": _fault("dB", (-1, -6, 10), messy.comfort_noise, "idle-mute foreign-noise automatic-gain lossy-coded spur"),
    "battery-dies": _fault("dB", (0.3, 2, 8), messy.battery_dies, "clipped clipped-below-full-scale level-drift gain-step automatic-gain"),
    "hot-preamp": _fault("dB", (0.02, 0.2, 1.5), messy.hot_preamp, "automatic-gain level-drift clipped-below-full-scale", path=True),
    "esses-lowered": _fault("dB", (0.3, 2, 8), messy.esses_lowered, "automatic-gain uneven-path clipped-below-full-scale", path=True),
    "treble-compander": _fault("%", (1, 5, 30), messy.treble_compander, "automatic-gain uneven-path clipped-below-full-scale", path=True),
    "enhancer": _fault("dB", (-90, -65, -40), messy.enhancer, "clipped-below-full-scale automatic-gain uneven-path", path=True),
    "hum-eliminator": _fault("dB", (3, 12, 60), messy.hum_eliminator, "uneven-path two-paths diffuse-tail", path=True),
    "level-delays": _fault("ns", (10, 200, 5000), messy.level_delays, "automatic-gain clock-drift clipped-below-full-scale lossy-coded", path=True),
    "parasitic": _fault("dBFS", (-100, -75, -45), messy.parasitic, "clipped-below-full-scale automatic-gain spur lossy-coded rate-converted", path=True),
    "steady-lowered": _fault("dB", (0.5, 4, 15), messy.steady_lowered, "automatic-gain lossy-coded idle-mute level-drift", path=True),
    "chorus": _fault("dB", (-60, -40, -15), workshop.chorus, "two-paths diffuse-tail clock-drift lossy-coded"),
    "phase-rotator": _fault("Hz", (20, 150, 600), workshop.phase_rotator, "uneven-path two-paths diffuse-tail", path=True),
    "backlash": _fault("of the peak", (1e-5, 1e-4, 2e-3), workshop.backlash, "clipped-below-full-scale automatic-gain few-bits", path=True),
    "lacquer-ticks": _fault("dBFS", (-85, -60, -35), workshop.lacquer_ticks, "click spur foreign-noise dropout"),
    "alternating-offset": _fault("dBFS", (-110, -85, -55), workshop.alternating_offset, "spur foreign-noise lossy-coded"),
    "mains-hash": _fault("dBFS", (-95, -75, -50), workshop.mains_hash, "spur foreign-noise hum"),
    "mid-bell": _fault("dB", (0.1, 1, 6), workshop.mid_bell, "uneven-path", path=True),
    "restarts": _fault("samples", (0.02, 0.4, 30), workshop.restarts, "timing-jump clock-drift gap-edited dropout"),
    "resonant-top": _fault("dB", (0.1, 1, 6), workshop.resonant_top, "uneven-path", path=True),
    "cabinet": _fault("dB", (-60, -30, -10), workshop.cabinet, "uneven-path two-paths diffuse-tail", path=True),
    "ceramic": _fault("dB", (-95, -70, -45), workshop.ceramic, "clipped-below-full-scale automatic-gain uneven-path", path=True),
    "comped": _fault("samples", (0.03, 0.5, 20), workshop.comped, "timing-jump clock-drift dropout gap-edited reordered"),
    "gliding-whistle": _fault("dBFS", (-100, -75, -50), workshop.gliding_whistle, "spur foreign-noise"),
    "tails-faded": _fault("s", (0.0005, 0.005, 0.05), workshop.tails_faded, "gap-edited dropout automatic-gain idle-mute truncated"),
    "transient-shaper": _fault("dB", (0.05, 0.5, 4), workshop.transient_shaper, "automatic-gain clipped-below-full-scale", path=True),
    "linear-phase-equaliser": _fault("dB", (0.1, 1, 5), workshop.linear_phase_equaliser, "uneven-path two-paths", path=True),
    "offset-wanders": _fault("of full scale", (0.0003, 0.003, 0.03), workshop.offset_wanders, "dc-offset spur foreign-noise"),
    "averaged": _fault("samples", (0.05, 0.5, 4), workshop.averaged, "uneven-path two-paths", path=True),
    "repaired": _fault("times", (200, 50, 12), workshop.repaired, "click dropout"),
    "spread-clock": _fault("ns", (0.3, 5, 100), workshop.spread_clock, "clock-drift lossy-coded"),
    "system-gain": _fault("dB", (0.3, 3, 20), everyday.system_gain, "automatic-gain level-drift gain-step", path=True),
    "mixer-rate": _fault("ppm", (1, 10, 100), everyday.mixer_rate, "clock-drift rate-converted lossy-coded"),
    "microframes": _fault("times", (1, 8, 60), everyday.microframes, "dropout click timing-jump reordered"),
    "half-plug": _fault("Hz", (15, 300, 5000), everyday.half_plug, "uneven-path", path=True),
    "filmed-contact": _fault("dB", (0.03, 0.3, 6), everyday.filmed_contact, "automatic-gain gain-step level-drift", path=True),
    "rounded-clip": _fault("dB", (0.1, 1, 6), everyday.rounded_clip, "clipped clipped-below-full-scale automatic-gain", path=True),
    "riding-loudness": _fault("dB", (0.1, 1, 6), everyday.riding_loudness, "automatic-gain level-drift gain-step", path=True),
    "player-bands": _fault("dB", (0.1, 1, 6), everyday.player_bands, "uneven-path", path=True, played=True),
    "player-rate": _fault("points", (16, 4, 1), everyday.player_rate, "rate-converted uneven-path lossy-coded", path=True, played=True),
    "jitter-buffer": _fault("times", (1, 5, 20), everyday.jitter_buffer, "timing-jump dropout click reordered clock-drift"),
    "echo-suppressor": _fault("dB", (0.1, 1, 12), everyday.echo_suppressor, "automatic-gain gain-step level-drift idle-mute", path=True),
    "settling-highpass": _fault("Hz", (3, 15, 60), everyday.settling_highpass, "uneven-path gain-step level-drift dc-offset"),
    "slip-and-back": _fault("times", (1, 8, 60), everyday.slip_and_back, "dropout timing-jump click reordered"),
    "hum-remover": _fault("Hz", (0.2, 2, 12), everyday.hum_remover, "uneven-path two-paths diffuse-tail", path=True),
    "block-means": _fault("samples", (65536, 8192, 1024), everyday.block_means, "uneven-path click dropout dc-offset"),
    "bit-errors": _fault("words", (2, 30, 1000), everyday.bit_errors, "click dropout spur foreign-noise lossy-coded"),
    "overload-mute": _fault("s", (0.001, 0.02, 0.3), everyday.overload_mute, "dropout automatic-gain gain-step", path=True),
    "noise-filled": _fault("packets", (1, 6, 40), everyday.noise_filled, "dropout click foreign-noise"),
    "night-mode": _fault("dB", (0.1, 1, 8), everyday.night_mode, "automatic-gain uneven-path", path=True),
    "phantom-load": _fault("dB", (0.02, 0.3, 3), everyday.phantom_load, "gain-step level-drift dc-offset click dropout spur"),
    "whistle-hunter": _fault("dB", (0.1, 2, 12), everyday.whistle_hunter, "automatic-gain gain-step level-drift", path=True),
}  # fmt: skip
