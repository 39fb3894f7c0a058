import sys
from types import SimpleNamespace

import pytest

from charprobe.bench import devices
from charprobe.bench.devices import SoundDevice, check_patch, find_device, list_devices
from charprobe.values.errors import LiveError
from tests.bench.rigs import STRIP, patch

DEVICES = (STRIP, SoundDevice(3, "strip monitor", "made up", 0, 2, 48_000))


def test_a_device_is_found_by_number_name_or_part_of_it():
    assert find_device("strip", "play", DEVICES) is STRIP
    assert find_device("3", "play", DEVICES) is DEVICES[1]
    assert find_device("MONI", "play", DEVICES) is DEVICES[1]


@pytest.mark.parametrize(
    ("wanted", "side", "says"),
    [("str", "play", "several devices"), ("monitor", "record", "no device"), ("9", "play", "no device")],
)
def test_none_or_several_are_listed(wanted, side, says):
    with pytest.raises(LiveError, match=says) as told:
        find_device(wanted, side, DEVICES)
    assert STRIP.text in str(told.value)


@pytest.mark.parametrize("channels", [(), (0,), (3,), (1, 1)])
def test_channels_that_do_not_exist_are_refused_before_any_sound(channels):
    with pytest.raises(LiveError, match="has 2 channels; the session records channels"):
        check_patch(patch(inputs=channels))


def test_a_patch_that_can_be_had_is_asked_for_as_it_is_and_two_clocks_are_told(monkeypatch):
    asked = []
    system = SimpleNamespace(PortAudioError=RuntimeError)
    for kind in ("output", "input"):
        setattr(
            system, f"check_{kind}_settings", lambda kind=kind, **how: asked.append((kind, *how.values()))
        )
    monkeypatch.setattr(devices, "_loaded", lambda: system)
    assert check_patch(patch(inputs=(2,))) == ()
    assert [row[:4] for row in asked] == [("output", 2, 2, 48_000), ("input", 2, 2, 48_000)]
    (told,) = check_patch(patch(play=DEVICES[1]))
    assert "their clocks differ" in told


@pytest.mark.parametrize("trouble", [ImportError, OSError])
def test_without_the_extra_it_says_what_to_install_and_how_to_do_without(monkeypatch, trouble):
    class Refuses:
        @staticmethod
        def find_spec(name, *_):
            if name == "sounddevice":
                raise trouble("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Refuses, *sys.meta_path])
    with pytest.raises(LiveError, match=r"charprobe\[live\](.|\n)*any recorder"):
        list_devices()
