"""What the steps of the level probe lead to: go on or stop, what to turn, what to plug elsewhere."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from charprobe.bench.devices import Patch
from charprobe.bench.probe import ChannelProbe
from charprobe.bench.probe_sound import LEVELS_DBFS
from charprobe.values.wording import number_text, signed_text

ROOM_DBFS = -3.0  # peaks of the loudest step that leave room
MOVED_DB = 0.3  # a gain that moves so much while nothing else does is ridden
SHRUNK_DB = 0.1
MUTED_DB = 10.0  # noise beside a tone over that of silence: noise that follows the signal moves less
FULL_DBFS = -0.5  # flat tops above are the recorder's, below something's before it


@dataclass(frozen=True)
class Advice:
    """What the steps so far lead to: why to stop, if so; what was noticed; how far to turn the stimulus."""

    stop: str
    lines: tuple[str, ...]
    level_db: float


def advise(steps: Sequence[Sequence[ChannelProbe]], patch: Patch) -> Advice:
    """Say what the steps heard so far lead to, each with its channels, at the levels of `LEVELS_DBFS`."""
    last, level = steps[-1], LEVELS_DBFS[len(steps) - 1]
    heard = [one for one in last if one.gain_db is not None]
    lines = [_text(one, patch) for one in last]
    if not heard:
        stop = "no input hears the tone: check the patch, the record gain, and that nothing is muted"
        return Advice(stop if len(steps) > 1 else "", tuple(lines), 0.0)
    if len(steps) == 1:
        lines += _cables(last, patch)
    for one in heard:
        of_one = [same for step in steps for same in step if same.channel == one.channel]
        lines += [f"{_input(one, patch)}: {text}" for text in _ridden(of_one)]
    deaf = [str(patch.inputs[one.channel - 1]) for one in last if one.gain_db is None]
    if deaf:
        only = ",".join(str(patch.inputs[one.channel - 1]) for one in heard)
        lines.append(f"not heard on input {', '.join(deaf)}: plug it, or record without it: --inputs {only}")
    clipped = [one for one in heard if one.clipped]
    if clipped:
        return Advice(_clipping(steps, clipped, patch), tuple(lines), below(level))
    if len(steps) == len(LEVELS_DBFS):
        room = ROOM_DBFS - max(one.peak_dbfs for one in heard)
        if abs(room) > -ROOM_DBFS:
            turn = "down" if room < 0 else "up"
            lines.append(f"record gain can go {turn} by about {number_text(abs(room), 0)} dB")
        late = [one.delay_s for one in steps[0] if one.delay_s is not None]
        if late:
            lines.append(f"latency of the whole loop: {number_text(1000 * late[0], 2)} ms")
    return Advice("", tuple(lines), 0.0)


def below(level_dbfs: float) -> float:
    """How far to turn the stimulus, whose peak is near the top step, down to play below a step, in dB."""
    at = LEVELS_DBFS.index(level_dbfs)
    quieter = LEVELS_DBFS[at - 1] if at else level_dbfs + ROOM_DBFS
    return up_to(quieter)


def up_to(level_dbfs: float) -> float:
    """How far to turn the stimulus down, so that nothing in it is louder than a step, in dB."""
    return min(0.0, level_dbfs - LEVELS_DBFS[-1])


def _input(one: ChannelProbe, patch: Patch) -> str:
    return f"input {patch.inputs[one.channel - 1]}"


def _text(one: ChannelProbe, patch: Patch) -> str:
    if one.gain_db is None:
        return f"{_input(one, patch)}: not heard; noise {number_text(one.noise_dbfs, 0)} dBFS"
    return (
        f"{_input(one, patch)}: peak {number_text(one.peak_dbfs, 1)} dBFS, gain "
        f"{signed_text(one.gain_db, 2)} dB, noise {number_text(one.noise_dbfs, 0)} dBFS"
        + (", inverted" if one.polarity < 0 else "")
        + (", CLIPS" if one.clipped else "")
    )


def _ridden(steps: Sequence[ChannelProbe]) -> Iterator[str]:
    """What moves a gain or mutes in silence, from the steps of one input."""
    last = steps[-1]
    first = next(one for one in steps if one.gain_db is not None)
    shrunk = (first.gain_db or 0.0) - (last.gain_db or 0.0)
    since = last.sweep_db - first.sweep_db
    if abs(last.held_db) > MOVED_DB:
        yield (
            f"the soft sweep comes {signed_text(last.held_db, 1)} dB, half a second after tone and burst, "
            "against before: an automatic gain of the recorder is on, or a stage that lets go slowly; switch "
            "it off"
        )
    elif abs(since) > MOVED_DB:
        yield (
            f"the soft sweep comes {signed_text(since, 1)} dB against the first step, though it is played as "
            "before: an automatic gain is on, or somebody turned a gain; switch it off, or begin again"
        )
    elif abs(last.moved_db) > MOVED_DB:
        yield (
            f"a steady tone moves by {signed_text(last.moved_db, 1)} dB: the stage works, or an automatic "
            "gain or limiter of the recorder is on; switch that off"
        )
    elif shrunk > SHRUNK_DB and not last.clipped:
        yield (
            f"{number_text(shrunk, 1)} dB less gain than at the quietest: the stage works here, or the "
            "recorder limits"
        )
    if last is first and last.muted_db > MUTED_DB:
        yield (
            f"noise is {number_text(last.muted_db, 0)} dB lower in silence than beside the tone: an idle "
            "mute or gate is on, or a converter works without dither; switch it off, or noise is not the "
            "device's"
        )


def _cables(step: Sequence[ChannelProbe], patch: Patch) -> Iterator[str]:
    """Which input hears which output, where that is not as it is meant to be."""
    if len(patch.outputs) < 2:
        return
    heard = {
        patch.inputs[one.channel - 1]: [patch.outputs[at] for at in one.hears] for one in step if one.hears
    }
    alone = {number: outputs[0] for number, outputs in heard.items() if len(outputs) == 1}
    for number, outputs in heard.items():
        if len(outputs) > 1:
            both = " and ".join(map(str, outputs))
            yield (
                f"input {number} hears outputs {both} together: a mixer or monitoring in the loop sums them; "
                "mute it"
            )
    meant = dict(zip(patch.inputs, patch.outputs, strict=False))
    if len(set(alone.values())) < len(alone):
        shared = next(output for output in alone.values() if list(alone.values()).count(output) > 1)
        ones = " and ".join(str(number) for number, output in alone.items() if output == shared)
        yield f"inputs {ones} hear output {shared} alone: one cable feeds both; plug each into its own output"
    elif wrong := {number: output for number, output in alone.items() if meant.get(number) != output}:
        says = ", ".join(f"input {number} hears output {output}" for number, output in wrong.items())
        ones = ",".join(
            str(next((number for number, output in alone.items() if output == meant.get(place)), place))
            for place in patch.inputs
        )
        yield f"cables are exchanged: {says}; swap them, or record with --inputs {ones}"
    deaf = [output for output in patch.outputs if not any(output in outputs for outputs in heard.values())]
    if deaf:
        which = ", ".join(map(str, deaf))
        yield f"output {which} is heard on no input: its cable is off, or leave it out of --outputs"


def _clipping(steps: Sequence[Sequence[ChannelProbe]], clipped: Sequence[ChannelProbe], patch: Patch) -> str:
    """Why the probe ends where a wave is cut, and what to turn by how much."""
    level = LEVELS_DBFS[len(steps) - 1]
    over, top = ", ".join(_input(one, patch) for one in clipped), max(one.peak_dbfs for one in clipped)
    if top < FULL_DBFS:
        return (
            f"{over}: the wave is cut at {number_text(top, 1)} dBFS, below the recorder's full scale, at "
            f"{level:g} dBFS played: something before the recorder clips. Turn down what feeds it and probe "
            "again; else the stimulus is played below that"
        )
    coming = max(_peak_at_top(steps, one.channel) for one in clipped)
    return (
        f"{over} clips at {level:g} dBFS played: turn the record gain down by "
        f"{number_text(max(coming, top) - ROOM_DBFS, 0)} dB and probe again; else the stimulus is played "
        "below that"
    )


def _peak_at_top(steps: Sequence[Sequence[ChannelProbe]], channel: int) -> float:
    """The peak the top step would have, from the last two that were not cut: compression makes it less."""
    levels = LEVELS_DBFS[: len(steps) - 1]
    peaks = [next(one.peak_dbfs for one in step if one.channel == channel) for step in steps[:-1]]
    if not peaks:
        return LEVELS_DBFS[-1] - LEVELS_DBFS[0]
    slope = (peaks[-1] - peaks[-2]) / (levels[-1] - levels[-2]) if len(peaks) > 1 else 1.0
    return peaks[-1] + max(slope, 0.0) * (LEVELS_DBFS[-1] - levels[-1])
