"""Where sounds to listen to come from: the reviewer's own takes, else the programme in the captures."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from charprobe.files.sound.sound_file import open_capture
from charprobe.listening.ab import make_pair
from charprobe.profile.profile import Profile
from charprobe.publishing.listen.tracks import Listening, Sound, equally_loud
from charprobe.stimulus.kinds.programme import Programme
from charprobe.stimulus.recipe import load_recipe, shipped_recipes
from charprobe.stimulus.render import lay_out
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from charprobe.values.errors import CharprobeError
from charprobe.values.fade import faded_ends

RECORDED = "As recorded"
FROM_CAPTURES = (
    "The sound is part of what was played through the stage and recorded: made-up speech, plucked strings, "
    "drums and chords. Dry is what was played."
)
FROM_TAKES = "The reviewer's own take, dry and as each setting made it, laid in step with each other."
LONGEST_S = 20.0  # heard of a take
PASSAGE_S = 3.0  # heard of each passage
FADE_S = 0.02


def heard_in_takes(dry: Path, takes: Mapping[str, Path], names: Sequence[str]) -> Listening | None:
    """Lay takes of one's own material through some settings beside the `dry` one, each in step with it.

    `takes` are by setting, `names` settings in the order of the page; one channel of each is heard. None
    where no setting has a take; `CharprobeError` if a take does not belong to the dry one.
    """
    sounds: list[Sound] = []
    first: Sound | None = None
    rate_hz = 0
    with tempfile.TemporaryDirectory() as scratch:
        for number, name in enumerate(names):
            if name not in takes:
                continue
            pair = Path(scratch) / str(number)
            make_pair(dry, takes[name], pair, roles_as_named=True, force=False)
            both = [open_capture(pair / f"{one}.wav") for one in ("dry", "processed")]
            rate_hz = both[0].rate_hz
            cut = [source.read(0, min(source.frames, round(LONGEST_S * rate_hz)), 0) for source in both]
            first = first or Sound("dry", None, cut[0])
            sounds.append(Sound(name, number, cut[1]))
    if first is None:
        return None
    return Listening(equally_loud([first, *sounds], rate_hz=rate_hz), rate_hz, RECORDED, FROM_TAKES)


def heard_in_captures(profiles: Sequence[Profile], captures: Mapping[str, Path]) -> Listening | None:
    """Cut the programme out of the captures of some settings; the dry sound is what was played.

    `profiles` are one of each setting, in the order of the page; `captures` tell where one lies by its
    SHA-256. None where no setting can be heard.
    """
    sounds: list[Sound] = []
    dry: Sound | None = None
    rate_hz = 0
    for number, profile in enumerate(profiles):
        stimulus = _stimulus(profile)
        path = captures.get(profile.capture.sha256)
        samples = None if stimulus is None or path is None else _recorded(path, profile, stimulus)
        if samples is None or (rate_hz and profile.capture.rate_hz != rate_hz):
            continue  # sounds of two rates cannot be switched between
        rate_hz = profile.capture.rate_hz
        sounds.append(Sound(profile.setting, number, samples))
        if dry is None and stimulus is not None:
            dry = Sound("dry", None, _played(stimulus))
    if dry is None:
        return None
    return Listening(equally_loud([dry, *sounds], rate_hz=rate_hz), rate_hz, RECORDED, FROM_CAPTURES)


def _stimulus(profile: Profile) -> Stimulus | None:
    """Lay out the shipped recipe of a profile; None where it is another, or has no programme."""
    facts = profile.stimulus
    if facts.recipe not in shipped_recipes() or facts.rate_hz != profile.capture.rate_hz:
        return None
    recipe = load_recipe(facts.recipe)
    if recipe.hash != facts.hash or not any(isinstance(spec, Programme) for spec in recipe.segments):
        return None
    return lay_out(recipe, rate_hz=facts.rate_hz, take=facts.take)


def _passages(stimulus: Stimulus) -> list[tuple[int, int]]:
    """First sample and length of what is heard of each passage, on the clock of the stimulus."""
    segment, most = stimulus.of_kind(Programme)[0], round(PASSAGE_S * stimulus.rate_hz)
    return [(span.start, min(span.length, most)) for _, span in segment.spec.passages(segment)]


def _recorded(path: Path, profile: Profile, stimulus: Stimulus) -> Array | None:
    """Return the programme of a capture the right way up; None where the file does not hold it."""
    try:
        source = open_capture(path)
    except CharprobeError:
        return None
    place = profile.alignment
    found = []
    for start, length in _passages(stimulus):
        first = round(place.delay_samples + start * (1 + 1e-6 * place.drift_ppm))
        if first < 0 or first + length > source.frames:
            return None
        found.append(source.read(first, first + length, profile.channel - 1))
    return place.polarity * joined(found, stimulus.rate_hz)


def _played(stimulus: Stimulus) -> Array:
    segment = stimulus.of_kind(Programme)[0]
    whole = segment.render(rate_hz=stimulus.rate_hz)
    starts = ((start - segment.span.start, length) for start, length in _passages(stimulus))
    return joined([whole[first : first + length] for first, length in starts], stimulus.rate_hz)


def joined(passages: Sequence[Array], rate_hz: int) -> Array:
    """Put passages behind each other, each faded in and out."""
    return np.concatenate([one * faded_ends(one.size, round(FADE_S * rate_hz)) for one in passages])
