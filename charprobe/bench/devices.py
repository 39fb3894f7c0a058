"""Sound devices of this machine, in plain words, and what is asked of them, checked before any sound."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from typing import Any, Literal, TypeVar

from charprobe.values.errors import DeviceGoneError, LiveError
from charprobe.values.wording import literal, shortened

INSTALL = """\
playing and recording needs the extra `live`: pip install "charprobe[live]", and PortAudio (Debian: \
libportaudio2). Without it, work with files: `charprobe stimulus RECIPE --out FILE.wav`, play and record it \
with any recorder, `charprobe session SESSION.toml --out DIR`"""
ANSWER_S = 20.0
Side = Literal["play", "record"]
T = TypeVar("T")


@dataclass(frozen=True)
class SoundDevice:
    """A device as the system lists it; `inputs` and `outputs` are its channels, `rate_hz` its usual rate."""

    number: int
    name: str
    host: str
    inputs: int
    outputs: int
    rate_hz: int

    @property
    def text(self) -> str:
        """One line of a list."""
        return (
            f"{self.number:>3}  {literal(self.name)} ({self.host}): "
            f"{self.outputs} out, {self.inputs} in, {self.rate_hz} Hz"
        )


@dataclass(frozen=True)
class Patch:
    """What sound goes through: where it is played and recorded, best by one device, for two have two clocks.

    `rate_hz` is of both; `outputs` and `inputs` are channels, counted from 1; `level_db`, at most 0, is what
    the stimulus is turned by before it is played; an `exclusive` device is asked for alone, where the system
    can.
    """

    play: SoundDevice
    record: SoundDevice
    rate_hz: int
    outputs: tuple[int, ...]
    inputs: tuple[int, ...]
    level_db: float = 0.0
    exclusive: bool = False


def backend() -> Any:
    """Return the module that reaches the sound devices.

    `LiveError` if it, or the system library it needs, is not installed: it says how to get it and how to do
    without. `DeviceGoneError` if a sound server does not answer: asking it in this thread would hang.
    """
    found = answer_of(_loaded)
    if found is None:
        raise LiveError(INSTALL)
    return found


def answer_of(ask: Callable[[], T]) -> T:
    """Ask the sound system something that a server which hangs never answers.

    `DeviceGoneError` if no answer came; whatever else is raised by `ask` is raised here.
    """
    found: list[T] = []
    failed: list[Exception] = []

    def asking() -> None:
        try:
            found.append(ask())
        except Exception as error:  # handed on below, whatever it is
            failed.append(error)

    thread = threading.Thread(target=asking, daemon=True)
    thread.start()
    thread.join(ANSWER_S)
    if failed:
        raise failed[0]
    if not found:
        raise DeviceGoneError(
            f"the sound server has not answered for {ANSWER_S:.0f} s: restart it, then run the same command "
            "again; it goes on from there"
        )
    return found[0]


def _loaded() -> Any:
    """Load the module; the first time it asks every sound server for its devices."""
    try:
        return import_module("sounddevice")
    except (ImportError, OSError):
        return None


def list_devices() -> tuple[SoundDevice, ...]:
    """Every device that can play or record."""
    sound = backend()
    hosts = [host["name"] for host in sound.query_hostapis()]
    return tuple(
        SoundDevice(
            number,
            str(row["name"]),
            hosts[row["hostapi"]],
            int(row["max_input_channels"]),
            int(row["max_output_channels"]),
            round(row["default_samplerate"]),
        )
        for number, row in enumerate(sound.query_devices())
    )


def find_device(wanted: str, side: Side, devices: tuple[SoundDevice, ...]) -> SoundDevice:
    """Return the device of a number, a name, or the one name that holds the words wanted.

    `LiveError` if there is none or several lists what there is.
    """
    able = [device for device in devices if (device.outputs if side == "play" else device.inputs)]
    listed = "\n".join(device.text for device in able) or "  none: is a sound server or driver running?"
    for found in (
        [device for device in able if str(device.number) == wanted or device.name == wanted],
        [device for device in able if wanted.casefold() in device.name.casefold()],
    ):
        if len(found) == 1:
            return found[0]
        if found:
            break
    what = "several devices" if found else "no device"
    raise LiveError(
        f"{what} to {side} answer to {shortened(literal(wanted), 80)}; name one by its number:\n{listed}"
    )


def check_patch(patch: Patch) -> tuple[str, ...]:
    """Ask the system whether a patch can be had, before any sound; return what is worth knowing of it.

    `LiveError` if a channel does not exist or the devices refuse rate or channel count.
    """
    for side, device, channels, there in (
        ("plays to", patch.play, patch.outputs, patch.play.outputs),
        ("records", patch.record, patch.inputs, patch.record.inputs),
    ):
        if not channels or min(channels) < 1 or len(set(channels)) < len(channels) or max(channels) > there:
            raise LiveError(
                f"{literal(device.name)} has {there} channels; the session {side} channels "
                f"{', '.join(map(str, channels)) or 'of no number'}: choose from 1 to {there}, each once. "
                "Nothing was played"
            )
    sound = backend()
    try:
        for ask, device, channels in (
            (sound.check_output_settings, patch.play, patch.outputs),
            (sound.check_input_settings, patch.record, patch.inputs),
        ):
            answer_of(
                partial(
                    ask,
                    device=device.number,
                    channels=max(channels),
                    samplerate=patch.rate_hz,
                    dtype="float32",
                    extra_settings=exclusive_of(patch, device),
                )
            )
    except sound.PortAudioError as error:
        raise LiveError(
            f"asked {literal(patch.play.name)} and {literal(patch.record.name)} for {max(patch.outputs)} out "
            f"and {max(patch.inputs)} in at {patch.rate_hz} Hz, refused ({error.args[0]}). Their usual "
            f"rates are {patch.play.rate_hz} and {patch.record.rate_hz} Hz: choose that with --rate, or "
            "change it in the device's panel (in shared use the system holds the rate). Nothing was played"
        ) from None
    if patch.play.number == patch.record.number:
        return ()
    return (
        f"{literal(patch.play.name)} plays and {literal(patch.record.name)} records: their clocks differ, "
        "which is measured and taken out; one device for both is better",
    )


def exclusive_of(patch: Patch, device: SoundDevice) -> Any:
    """Settings that ask for a device alone; None where that is not wanted or not known to the system."""
    sound = backend()
    if not patch.exclusive:
        return None
    if device.host.endswith("WASAPI"):
        return sound.WasapiSettings(exclusive=True)
    if device.host == "Core Audio":
        return sound.CoreAudioSettings(change_device_parameters=True, fail_if_conversion_required=True)
    return None
