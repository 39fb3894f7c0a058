"""Captures judged, one alone or with its bypass: all that is known before a number is drawn from them."""

from __future__ import annotations

from dataclasses import replace

from charprobe.files.sound.source import Source
from charprobe.measuring.health.echoes import folded, together
from charprobe.measuring.health.file.copies import check_copy
from charprobe.measuring.health.file.file_facts import check_file
from charprobe.measuring.health.file.normalised import check_normalised, check_round_peak, check_to_loudness
from charprobe.measuring.health.file.same_sound import check_roles, look_exchanged
from charprobe.measuring.health.file.sample_facts import gather_sample_facts
from charprobe.measuring.health.groups import lost_groups
from charprobe.measuring.health.own_or_taken import own_or_taken
from charprobe.measuring.health.path.clock_scatter import check_clock_scatter
from charprobe.measuring.health.path.lossy import check_lossy
from charprobe.measuring.health.path.other_path import OF_RESPONSE, check_other_path, check_uneven_path
from charprobe.measuring.health.path.ripple import check_clock_line, check_ripple
from charprobe.measuring.health.path.second_path import check_second_path
from charprobe.measuring.health.path.sides import check_mid_side, check_sides
from charprobe.measuring.health.path.sound_under_tones import check_sound_under_tones, check_sound_with_tones
from charprobe.measuring.health.path.tone_noise import (
    check_noise_beside_tones,
    check_tone_noise,
    noise_repeats,
)
from charprobe.measuring.health.path.under_tones import UnderTone, under_tones
from charprobe.measuring.health.pauses.coarse_words import check_coarse_words
from charprobe.measuring.health.pauses.early_offset import check_early_offset
from charprobe.measuring.health.pauses.foreign_sounds import check_foreign_sounds
from charprobe.measuring.health.pauses.foreign_tones import check_foreign_tones, check_range
from charprobe.measuring.health.pauses.hissing_pauses import check_hissing_pauses
from charprobe.measuring.health.pauses.idle_mute import check_idle_mute
from charprobe.measuring.health.pauses.quiet import quiet_spectrum
from charprobe.measuring.health.pauses.quieter_silence import check_quieter_silence
from charprobe.measuring.health.pauses.thinned_noise import check_suppressed_noise, check_thinned_noise
from charprobe.measuring.health.pauses.unlike_noise import check_unlike_noise
from charprobe.measuring.health.timeline.clock_wander import check_clock_wander
from charprobe.measuring.health.timeline.continuity import check_continuity, own_breaks
from charprobe.measuring.health.timeline.dips import check_dips
from charprobe.measuring.health.timeline.markers import check_marker_edges, check_marker_levels
from charprobe.measuring.health.timeline.path_gain import check_path_gain
from charprobe.measuring.health.timeline.placement import check_placement
from charprobe.measuring.health.timeline.steady_gain import check_steady_gain, check_uneven_gain
from charprobe.measuring.health.timeline.turned_setting import check_turned_setting
from charprobe.placing.take import Take, place_take
from charprobe.placing.track import Track
from charprobe.profile.entry import Health
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.errors import CharprobeError
from charprobe.values.one_thread import on_one_thread

DAMAGE = ("non-finite", "dropout", "timing-jump")  # segments they touch give no results
CLIPPED = ("clipped",)  # nor do tones that this touches
IN_THE_FILE = ("non-finite", "clipped")  # told before it is known what sounds there
CODED = {"lossy-coded", "rate-converted"}
FOLLOWS = {"automatic-gain", "clipped-below-full-scale"}
UNDER_TONES = {"few-bits", "lossy-coded", "rate-converted", "spur", "hum", "foreign-noise"}  # more noise
MISPLACED = {"timing-jump", "gap-edited", "reordered"}  # what was played may lie in a pause
TOLD_ALREADY = {"gain-step", "level-drift", *MISPLACED, *DAMAGE}  # what moves repeated tones by itself
MOVES_LINES = {"clock-drift", "lossy-coded", "rate-converted", *MISPLACED, *DAMAGE}
Judged = tuple[Take, tuple[Health, ...]]


@on_one_thread
def judge_capture(source: Source, stimulus: Stimulus, channel: int) -> Judged:
    """Place one channel of a capture and gather what is wrong with it.

    Parameters
    ----------
    source : Source
        The capture.
    stimulus : Stimulus
        What was played.
    channel : int
        Channel, from 0.

    Returns
    -------
    take : Take
        The channel on the stimulus clock; stretches that no result may come from are marked in it.
    health : tuple of Health
        Findings about this channel and about the file.

    Raises
    ------
    AlignmentError
        If the stimulus is not there.
    CharprobeError
        If there is no such channel.
    """
    if not 0 <= channel < source.channels:
        raise CharprobeError(
            f"{source.name} has {source.channels} channel{'s' if source.channels > 1 else ''}, there is no "
            f"channel {channel + 1}: choose one with --channel"
        )
    take = place_take(Track(source, channel, stimulus))
    facts = source.once(gather_sample_facts)
    of_file = tuple(item for item in check_file(source, facts) if item.channel in (None, channel))
    if broken := _spans(take, of_file, ("non-finite",)):  # nothing can be computed there
        take = replace(take, damaged=broken)
    stepping = {event.tone for event in own_breaks(take)}  # in these the stage's own gain clicks
    under = [one for one in under_tones(take) if one.tone not in stepping]
    found = (
        *of_file,
        *check_round_peak(take, facts[channel]),
        *check_placement(take),
        *check_continuity(take),
        *check_clock_wander(take),
        *check_sides(take),
        *check_mid_side(take),
        *_beside_the_sound(take, under, facts[channel].peak),
    )
    told = {item.code for item in found}
    coded = "lossy-coded" in told and noise_repeats(under)  # a coder is heard everywhere: no sound of its own
    if not coded and not told & MISPLACED:
        found += (*check_foreign_sounds(take), *check_sound_under_tones(take, under))
        if not {item.code for item in found} & UNDER_TONES:
            found += tuple(check_unlike_noise(take))
    if all(item.code != "gain-step" for item in found):
        found += (*check_marker_levels(take), *check_marker_edges(take))
    if not {item.code for item in found if item.severity != "note"} & MOVES_LINES:
        found += tuple(check_clock_line(take) or check_clock_scatter(take))
    if not {item.code for item in found} & TOLD_ALREADY:
        found += tuple(check_turned_setting(take))
    found = (*folded(found), *check_dips(take))  # their edges sound, too: not the other way round
    damaged, clipped = (_spans(take, found, codes) for codes in (DAMAGE, CLIPPED))
    if damaged or clipped:
        take = replace(take, damaged=damaged, clipped=clipped)
    return take, together(_with_cost(take, item) for item in found)


def judge_pair(wet: Judged, bypass: Judged) -> tuple[Health, ...]:
    """Gather what is wrong with a capture, with its bypass, and with the two together.

    Parameters
    ----------
    wet, bypass : Judged
        Both captures, each judged by itself.

    Returns
    -------
    tuple of Health
        The capture's own findings, where the bypass is free of what a stage may do itself said as a question.
        Of one recording ``equals-other-capture`` alone; else the bypass's own, said to be of the bypass, its
        gain over time (``automatic-gain``, ``gain-step``, ``level-drift``), ``swapped-roles``,
        ``other-path``, ``uneven-path`` and ``normalised``.
    """
    take, _ = wet
    dry, found = bypass
    copy = check_copy(take, dry)
    if any(item.severity == "stop" for item in copy):
        return (*wet[1], *copy)
    noticed = tuple(item for item in found if item.code != "wrong-stimulus")  # any take of it will do
    roles = check_roles(take, dry)
    told = {item.code for item in noticed}
    if not roles and not told & UNDER_TONES:
        noticed += tuple(
            check_suppressed_noise(dry) or check_quieter_silence(dry) or check_sound_with_tones(dry)
        )
        told |= {item.code for item in noticed}
    if not roles and "automatic-gain" not in told:
        moved = _moves(dry)
        if {item.code for item in moved} & FOLLOWS and not _moves(take):
            roles, moved = (look_exchanged(take, dry),), []
        noticed += tuple(item for item in moved if item.code not in told)
        told |= {item.code for item in noticed}
    if not roles and not told & {"gain-step", "level-drift", "automatic-gain"}:
        noticed += tuple(check_marker_levels(dry, off=True))
    if not told & {"hum", "automatic-gain"}:
        noticed += tuple(check_ripple(dry))
    if not told & {"dc-offset", *UNDER_TONES}:
        noticed += tuple(check_early_offset(dry))
    of_bypass = (replace(item, message=f"In the bypass: {item.message}") for item in folded(noticed))
    normalised = check_normalised(take, dry) or check_to_loudness(take, dry)
    told |= {item.code for item in wet[1]}
    other = [] if roles else check_other_path(take, dry, told=told)
    if not roles and not other and not told & OF_RESPONSE:
        other = check_uneven_path(dry)
    return (*own_or_taken(wet[1], found), *of_bypass, *roles, *copy, *other, *normalised)


def _moves(take: Take) -> list[Health]:
    """What moves the gain of a take that should have one gain throughout."""
    return check_steady_gain(take) or check_path_gain(take) or check_uneven_gain(take)


def _with_cost(take: Take, item: Health) -> Health:
    """Name the groups that damage found in the file itself leaves without a segment."""
    if item.code not in IN_THE_FILE or item.withholds or item.start_s is None or item.end_s is None:
        return item
    first, last = item.start_s, item.end_s
    touched = [
        segment
        for segment in take.stimulus.segments
        if take.capture_time_s(float(segment.span.start)) < last
        and take.capture_time_s(float(segment.span.stop)) > first
        and take.spoils(segment)
    ]
    return replace(item, withholds=lost_groups(take, touched))


def _beside_the_sound(take: Take, under: list[UnderTone], peak: float) -> tuple[Health, ...]:
    """What pauses, the noise under tones and the surroundings of the markers show."""
    mute, spectrum = check_idle_mute(take), quiet_spectrum(take)
    noise = [] if spectrum is None else check_tone_noise(take, under, spectrum)
    paths = check_second_path(take, coded=any(item.code == "lossy-coded" for item in noise))
    if spectrum is not None and not noise and all(item.code == "two-paths" for item in paths):
        noise = check_noise_beside_tones(take, under, spectrum)
        paths = check_second_path(take, coded=True) if noise and paths else paths
    codes = {item.code for item in noise}
    found = (*paths, *noise, *mute)
    if spectrum is None:
        return found
    found += (*check_foreign_tones(take, spectrum), *check_range(take, spectrum, peak))
    found += tuple(check_coarse_words(take, spectrum))
    found += () if mute else tuple(check_thinned_noise(take))
    found += tuple(check_hissing_pauses(take, under, spectrum))
    return found if codes & CODED else (*found, *check_lossy(take, spectrum))


def _spans(take: Take, found: tuple[Health, ...], codes: tuple[str, ...]) -> tuple[tuple[float, float], ...]:
    """Stretches that findings of some codes name, in capture samples."""
    rate_hz = take.source.rate_hz
    return tuple(
        (item.start_s * rate_hz, item.end_s * rate_hz)
        for item in found
        if item.code in codes and item.start_s is not None and item.end_s is not None
    )
