"""From capture to profile: the only place where the steps meet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from charprobe import __version__
from charprobe.files.sound.source import Source
from charprobe.measuring.chapters.colour.chapter import colour_chapter
from charprobe.measuring.chapters.link import link_chapter
from charprobe.measuring.chapters.noise import noise_chapter
from charprobe.measuring.chapters.path import path_chapter
from charprobe.measuring.chapters.response import passage_of, path_response, response_chapter
from charprobe.measuring.chapters.static.chapter import static_chapter
from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.measuring.consistency.judge import reconciled
from charprobe.measuring.health.file.copies import sound_hash
from charprobe.measuring.health.judge import Judged, judge_capture, judge_pair
from charprobe.placing.take import Take
from charprobe.profile import glossary
from charprobe.profile.entry import Chapter, Entry, Health, Table
from charprobe.profile.facts import AlignmentFacts, CaptureFacts, MadeWith, StimulusFacts
from charprobe.profile.profile import Profile
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.one_thread import on_one_thread
from charprobe.values.quantity import Quantity, Unmeasured
from charprobe.values.wording import number_text

LEVELS, WIDEST_DB = ("dBc", "dBFS"), 20.0


def characterise(
    capture: Source, stimulus: Stimulus, *, channel: int, setting: str, bypass: Source | None
) -> Profile:
    """Measure one channel of one setting.

    Parameters
    ----------
    capture : Source
        Recording of the stimulus through the stage.
    stimulus : Stimulus
        What was played.
    channel : int >= 1
        Channel of the capture, counted from 1.
    setting : str
        The user's name of the setting.
    bypass : Source or None
        Recording of the same stimulus with the stage off, same path; its channel of the same number, or
        its only one, is used.

    Returns
    -------
    Profile
        Every quantity the recipe can speak to, each with its interval or the reason why there is none.

    Raises
    ------
    AlignmentError
        If the stimulus is not in the capture, or not in the bypass.
    CharprobeError
        If the capture has no such channel.
    """
    judged = judge_capture(capture, stimulus, channel - 1)
    if bypass is None:
        return characterise_judged(judged, None, setting=setting)
    dry = judge_capture(bypass, stimulus, min(channel, bypass.channels) - 1)
    return characterise_judged(judged, dry, setting=setting)


@on_one_thread
def characterise_judged(capture: Judged, bypass: Judged | None, *, setting: str) -> Profile:
    """Measure a judged capture against a judged bypass, which may serve many; see `characterise`."""
    wet, dry = capture[0], None if bypass is None else bypass[0]
    found = capture[1] if bypass is None else judge_pair(capture, bypass)
    if any(item.code == "equals-other-capture" and item.severity == "stop" for item in found):
        dry = None  # no bypass: its levels are the stage's output
    chapters = _chapters(wet, dry)
    told = {item.code for item in found}
    health = found + tuple(item for chapter in chapters for item in chapter.health if item.code not in told)
    quantities = {name: entry for chapter in chapters for name, entry in chapter.quantities.items()}
    drawn = {name: table for chapter in chapters for name, table in chapter.curves.items()}
    kept = withheld(bounded(quantities), health)
    curves, health = without_withheld(drawn, health)
    published, denied = reconciled(kept, curves)
    health += denied
    alignment, source, stimulus = wet.alignment, wet.source, wet.stimulus
    return Profile(
        setting=setting,
        channel=wet.channel + 1,
        capture=CaptureFacts(
            file=source.name,
            sha256=source.sha256(),
            rate_hz=source.rate_hz,
            bits=source.facts.bits,
            channels=source.channels,
            duration_s=source.facts.duration_s,
            sound_sha256=sound_hash(wet),
        ),
        stimulus=StimulusFacts(stimulus.recipe.name, stimulus.recipe.hash, stimulus.take, stimulus.rate_hz),
        alignment=AlignmentFacts(
            alignment.delay_samples.value, alignment.drift_ppm.value, alignment.polarity
        ),
        quantities=published,
        curves=curves,
        health=tuple(item.for_people() for item in health),
        findings=tuple(sentence for chapter in chapters for sentence in chapter.words(published)),
        made_with=MadeWith(
            __version__, {"channel": wet.channel + 1, "bypass": None if dry is None else dry.source.name}
        ),
    )


def _chapters(wet: Take, dry: Take | None) -> tuple[Chapter, ...]:
    static, curve = static_chapter(wet, dry)
    response = response_chapter(wet, dry, curve)
    timing = timing_chapter(wet, dry, curve)
    return (
        static,
        timing,
        colour_chapter(wet, dry, curve, passage=passage_of(response), path=path_response(dry), timing=timing),
        response,
        noise_chapter(wet, dry),
        link_chapter(wet, dry, curve),
        path_chapter(wet, dry),
    )


def bounded(quantities: Mapping[str, Entry]) -> dict[str, Entry]:
    """Make a bound of every level that may be ten times larger or smaller: that is no number."""
    kept = dict(quantities)
    for own, entry in quantities.items():
        level = entry.reading
        if isinstance(level, Quantity) and level.unit in LEVELS and level.high - level.low > 2 * WIDEST_DB:
            low, high = (number_text(end, 0) for end in (level.low, level.high))
            reason = f"no better known than from {low} to {high} {level.unit}"
            bound = Unmeasured(level.unit, reason, "longer tones, or less noise", at_most=level.high)
            kept[own] = replace(entry, reading=bound)
    return kept


def withheld(quantities: Mapping[str, Entry], health: Iterable[Health]) -> dict[str, Entry]:
    """Take back every quantity that a health finding withholds, by its name or its group's.

    The finding's message becomes the reason. What was not measured anyway keeps its own, and its bound unless
    the finding stops the take: what spoils numbers spoils bounds.
    """
    kept = dict(quantities)
    for item in health:
        reason = f"{item.code}: {item.message}"
        for own, entry in quantities.items():
            spoils = (
                item.severity == "stop" and isinstance(entry.reading, Unmeasured) and entry.reading.bounded
            )
            if item.takes_back(own) and (spoils or isinstance(entry.reading, Quantity)):
                reading = Unmeasured(glossary.term(own).unit, reason, "mend that and retake")
                kept[own] = Entry(reading, entry.conditions)
    return kept


def without_withheld(
    curves: Mapping[str, Table], health: Iterable[Health]
) -> tuple[dict[str, Table], tuple[Health, ...]]:
    """Leave out every curve that stands on a withheld quantity; the finding that costs it names it."""
    kept, told = dict(curves), []
    for item in health:
        lost = sorted(name for name in curves if item.takes_back(*glossary.CURVES[name]))
        for name in lost:
            kept.pop(name, None)
        message = f"{item.message.rstrip('.')}. Curves not given: {', '.join(lost)}"
        told.append(replace(item, message=message) if lost else item)
    return kept, tuple(told)
