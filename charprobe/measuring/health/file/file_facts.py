"""What can be said of a capture before the stimulus is looked for: its file, its bits, its ceiling."""

from __future__ import annotations

import math

from charprobe.files.sound.facts import FileFacts
from charprobe.files.sound.source import Source
from charprobe.measuring.health.file.flat_tops import LEAST_SAMPLES, FlatTops
from charprobe.measuring.health.file.sample_facts import ChannelFacts, CoarseRun, SampleRun
from charprobe.profile.entry import ALL_GIVEN, Health, Severity
from charprobe.values.wording import clock_text, number_text, signed_text

EVERYTHING = (
    "static", "attack", "release", "colour", "response", "noise", "path", "detector", "replica",
)  # fmt: skip
ROUNDED_AWAY = ("colour", "noise", "attack", "release", "response")  # by 8 bits or fewer
LEAST_SHORT_TOPS = 3  # at full scale, of fewer than three samples each
LEAST_FLAT_TOPS = 5  # below full scale; fewer may be a click or a fluke
OFFSET_DBFS = -60.0  # 3 % of a peak at -30 dBFS: moves a peak detector there by 0.3 dB
MOVING_DBFS = -40.0  # of an offset that moves: what bends a tone leaves less behind it
LEAST_WRAPS = 20
DEAD_DBFS, ALIVE_DBFS = -80.0, -50.0
LOW_PEAK_DBFS = -40.0


def check_file(source: Source, channels: tuple[ChannelFacts, ...]) -> tuple[Health, ...]:
    """Judge a capture by its header and by what one pass through its samples found.

    Parameters
    ----------
    source : Source
        Any capture; its channels count from 0 in the result and from 1 in the messages.
    channels : tuple of ChannelFacts
        What `gather_sample_facts` found in it.

    Returns
    -------
    tuple of Health
        Codes ``silent``, ``channel-dead``, ``non-finite``, ``clipped``, ``clipped-below-full-scale``,
        ``few-bits``, ``misplaced-bits``, ``dc-offset``, ``low-level``, ``dual-mono``, ``truncated``,
        ``size-overflow`` and ``beyond-full-scale``; empty if nothing is wrong.
    """
    name, facts = source.name, source.facts
    found = _length(name, facts)
    if all(channel.silent for channel in channels):
        return (*found, _silent(name, facts))
    loudest = max(channel.level for channel in channels)
    for index, channel in enumerate(channels):
        at = _Place(name, facts, index)
        found += [_broken(at, run) for run in _joined(channel.broken_at, facts.rate_hz)]
        if _dbfs(channel.level) < DEAD_DBFS and _dbfs(loudest) > ALIVE_DBFS:
            found.append(_dead(at, channel))
            continue
        if channel.twin_of is not None:
            found.append(_twin(at, channel.twin_of))
        found += _ceilings(at, channel) + _wraps(at, channel)
        found += _bits(at, channel)
        found += _offset(at, channel)
        found += _level(at, channel)
    return tuple(found)


class _Place:
    """One channel of one file, for messages."""

    def __init__(self, name: str, facts: FileFacts, index: int) -> None:
        self.name, self.facts, self.index = name, facts, index

    def text(self, start: int | None = None) -> str:
        """Name file, channel and, if given, the time of a sample."""
        time = "" if start is None else f", {self.clock(start)}"
        return f"{self.name}, channel {self.index + 1}{time}"

    def clock(self, frame: int) -> str:
        return clock_text(frame / self.facts.rate_hz)

    def seconds(self, frame: int) -> float:
        return frame / self.facts.rate_hz


def _dbfs(amplitude: float) -> float:
    """Level of an RMS value: a full-scale sine is 0 dBFS."""
    return 20 * math.log10(max(amplitude, 1e-15) * math.sqrt(2))


def _peak_dbfs(peak: float) -> float:
    return 20 * math.log10(max(peak, 1e-15))


def _length(name: str, facts: FileFacts) -> list[Health]:
    held = clock_text(facts.duration_s)
    if facts.length == "longer than file" and facts.header_frames is not None:
        promised = clock_text(facts.header_frames / facts.rate_hz)
        text = (
            f"Header promises {promised}, the file holds {held} – {name}. The recording or the copy was cut "
            "off; what is missing cannot be measured. Copy it again, or retake. What is there is used, file "
            "unchanged."
        )
        return [Health("truncated", "warn", text, start_s=facts.duration_s)]
    if facts.length == "wrapped":
        text = (
            f"Size field overflowed beyond 4 GB – {name}. The length, {held}, was taken from the file "
            "itself; other programs may show less. charprobe check FILE --repair COPY.wav writes a copy that "
            "all can read. Record as RF64 to avoid this. File unchanged."
        )
        return [Health("size-overflow", "warn", text)]
    return []


def _silent(name: str, facts: FileFacts) -> Health:
    text = (
        f"Capture is digital silence – {name}, all {facts.channels} channels, "
        f"{clock_text(facts.duration_s)}. No signal reached the recorder; on some systems a refused "
        "microphone permission looks exactly like this. Check permission, input and cable, then retake. File "
        "kept."
    )
    return Health("silent", "stop", text, start_s=0.0, end_s=facts.duration_s, withholds=EVERYTHING)


def _dead(at: _Place, channel: ChannelFacts) -> Health:
    nature = "digital silence" if channel.silent else f"only {number_text(_dbfs(channel.level), 0)} dBFS"
    text = (
        f"Nothing above noise, {nature} – {at.text()}. No result can come from it. Check its cable and input "
        "if it was meant to carry the stage. The other channels are analysed."
    )
    return Health("channel-dead", "warn", text, channel=at.index, withholds=EVERYTHING)


def _joined(runs: tuple[SampleRun, ...], gap: int) -> list[SampleRun]:
    """Join runs that lie less than `gap` samples apart."""
    joined: list[SampleRun] = []
    for run in runs:
        if joined and run.start - joined[-1].stop < gap:
            last = joined[-1]
            joined[-1] = SampleRun(last.start, max(last.stop, run.stop), last.count + run.count)
        else:
            joined.append(run)
    return joined


def _broken(at: _Place, run: SampleRun) -> Health:
    text = (
        f"{run.count} samples that are no numbers or far beyond full scale – {at.text(run.start)} to "
        f"{at.clock(run.stop)}. Driver fault or broken file; every result they touch would be wrong. "
        "Retake; the segments without them are analysed, file kept."
    )
    return _between("non-finite", "stop", text, at, run.start, run.stop)


def _twin(at: _Place, other: int) -> Health:
    text = (
        f"Channels {other + 1} and {at.index + 1} are identical to the last bit – {at.text()}. One signal "
        "was written twice, so it says nothing about a second channel. Channel "
        f"{other + 1} is used."
    )
    return Health("dual-mono", "note", text, channel=at.index)


def _ceilings(at: _Place, channel: ChannelFacts) -> list[Health]:
    """Flat tops at full scale are the recorder's; elsewhere an earlier stage's, or turned down later."""
    full_scale = 1 - 2.0 ** (2 - min(channel.bits_used or 16, 16))  # the two top codes, of 16 bits at most
    at_top = [top for top in channel.flat_tops if abs(top.ceiling) >= full_scale]
    below = [top for top in channel.flat_tops if abs(top.ceiling) < full_scale]
    long = any(top.longest >= LEAST_SAMPLES for top in at_top)
    if not long and sum(top.count for top in at_top) < LEAST_SHORT_TOPS:
        at_top = []  # one sample at full scale is where a normalised file peaks
    found = []
    for place in _places(at_top, at.facts.rate_hz):
        tops = f"{place.count} flat top{'' if place.count == 1 else 's'}"
        text = (
            f"Recorder clipped: {tops} at full scale – {at.text(place.start)} to "
            f"{at.clock(place.stop)}. Level and harmonics are the recorder's there. Lower the record gain by "
            "6 dB and retake; what lies below is kept."
        )
        found.append(_between("clipped", "stop", text, at, place.start, place.stop))
    if sum(top.count for top in below) < LEAST_FLAT_TOPS:
        return found
    level_dbfs = _peak_dbfs(abs(below[0].ceiling))
    for place in _places(below, at.facts.rate_hz):
        text = (
            f"Flat tops at {number_text(level_dbfs, 1)} dBFS – {at.text(place.start)} to "
            f"{at.clock(place.stop)}. An earlier stage clips, or the file was turned down afterwards. If the "
            "bypass capture shows them too, it is the path: lower the play level; if not, it is the stage "
            "under test. Nothing was left out."
        )
        found.append(_between("clipped-below-full-scale", "warn", text, at, place.start, place.stop))
    return found


def _wraps(at: _Place, channel: ChannelFacts) -> list[Health]:
    run = channel.wrapped
    if run is None or run.count < LEAST_WRAPS:
        return []
    text = (
        f"Recorder overflowed: {run.count} times the waveform passes its highest value and begins again "
        f"at its lowest – {at.text(run.start)} to {at.clock(run.stop)}. Nothing that lies there can be "
        "measured. Lower the record gain by 6 dB and retake; what lies elsewhere is kept."
    )
    return [_between("clipped", "stop", text, at, run.start, run.stop)]


def _places(tops: list[FlatTops], gap: int) -> list[SampleRun]:
    return _joined(tuple(SampleRun(each.start, each.stop, each.count) for each in tops), gap)


def _between(code: str, severity: Severity, text: str, at: _Place, first: int, last: int) -> Health:
    return Health(code, severity, text, channel=at.index, start_s=at.seconds(first), end_s=at.seconds(last))


def _bits(at: _Place, channel: ChannelFacts) -> list[Health]:
    if channel.fits_low_bytes:
        text = (
            f"Peak {number_text(_peak_dbfs(channel.peak), 1)} dBFS, and steps finer than 24 bits – "
            f"{at.text()}. This looks like 24-bit data in the low part of 32 bits, which reads exactly "
            "48.16 dB low. Export again as 24-bit; if the take really was that quiet, raise the record gain. "
            "Absolute levels are not given, file kept."
        )
        return [Health("misplaced-bits", "stop", text, channel=at.index, withholds=EVERYTHING)]
    if channel.coarse is not None:
        return [_coarse(at, channel.coarse)]
    if channel.stuck_bit is not None:
        return [_stuck(at, channel.stuck_bit)]
    bits = channel.bits_used
    if bits is None or bits > 16:
        return []
    floor_db = 6.02 * bits + 1.76
    if bits <= 8:
        text = (
            f"Only {bits} bits carry data – {at.text()}. The floor lies {floor_db:.0f} dB below full scale, "
            "so harmonics, noise and the edges of bursts are the recorder's. Record with 24 bits. The static "
            "curve above -40 dBFS is kept."
        )
        return [Health("few-bits", "stop", text, channel=at.index, withholds=ROUNDED_AWAY)]
    text = (
        f"Only {bits} bits carry data{_container_bits(at.facts, bits)} – {at.text()}. The floor lies "
        f"{floor_db:.0f} dB below full scale, harmonics and noise below it are hidden. Choose a 24-bit "
        "driver or export format and retake if they matter. All results are kept."
    )
    return [Health("few-bits", "warn", text, channel=at.index)]


def _coarse(at: _Place, run: CoarseRun) -> Health:
    start_s, end_s = (min(sample, at.facts.frames) / at.facts.rate_hz for sample in (run.start, run.stop))
    text = (
        f"Only {run.bits} bits carry data {clock_text(start_s)} to {clock_text(end_s)}, elsewhere more: "
        f"{at.text()}. A driver changed its format, or pieces of two files were joined: levels, harmonics "
        f"and times read there are rounded. Keep one 24-bit format throughout and retake. {ALL_GIVEN}"
    )
    return Health("few-bits", "warn", text, channel=at.index, start_s=start_s, end_s=end_s)


def _stuck(at: _Place, bit: int) -> Health:
    text = (
        f"Bit {bit} never changes, those above and below it do – {at.text()}. A converter or its wiring is "
        f"faulty: noise and what is no larger than {number_text(-6.02 * (bit - 1), 0)} dBFS is that bit's. "
        f"Use another input and retake. {ALL_GIVEN}"
    )
    return Health("few-bits", "warn", text, channel=at.index)


def _container_bits(facts: FileFacts, bits: int) -> str:
    if facts.subtype.startswith("float"):
        return " in a float file (default host interface?)"
    return f" of {facts.bits} (default host interface?)" if facts.bits > bits else ""


def _offset(at: _Place, channel: ChannelFacts) -> list[Health]:
    if _dbfs(abs(channel.rest)) <= OFFSET_DBFS:
        if _dbfs(abs(channel.rest_most)) <= MOVING_DBFS:
            return []
        text = (
            f"The offset moves by {signed_text(channel.rest_most, 4)} of full scale in the pauses – "
            f"{at.text()}. A supply that was just switched on, or a coupling that charges: thresholds and "
            f"even harmonics may shift with it. Wait until it rests and retake. {ALL_GIVEN}"
        )
        return [Health("dc-offset", "warn", text, channel=at.index)]
    text = (
        f"DC offset {number_text(_dbfs(abs(channel.rest)), 0)} dBFS ({signed_text(channel.rest, 5)} of full "
        f"scale) – {at.text()}. Threshold and even harmonics may shift; it is not removed for "
        "measurement. Look for a DC-coupled input or a faulty converter. All results are kept."
    )
    return [Health("dc-offset", "warn", text, channel=at.index)]


def _level(at: _Place, channel: ChannelFacts) -> list[Health]:
    peak_dbfs = _peak_dbfs(channel.peak)
    where = at.text(channel.peak_at)
    if channel.peak > 1.0:
        text = (
            f"Peak {signed_text(peak_dbfs, 1)} dBFS in a float file – {where}. It is not clipped here; an "
            "integer export would be. Nothing to do as long as it stays float."
        )
        return [Health("beyond-full-scale", "note", text, at.index, at.seconds(channel.peak_at))]
    if channel.peak > 0 and peak_dbfs < LOW_PEAK_DBFS:
        text = (
            f"Highest peak {number_text(peak_dbfs, 1)} dBFS – {where}. Noise hides harmonics and quiet "
            f"steps. Raise the record gain by {number_text(-6 - peak_dbfs, 0)} dB and retake. All results "
            "are kept, with wider intervals."
        )
        return [Health("low-level", "warn", text, channel=at.index)]
    return []
