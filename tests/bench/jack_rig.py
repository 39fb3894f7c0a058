"""A sound server without hardware, faster than real time, and a compressor in its loop."""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

PERIOD, RATE_HZ = 1024, 48_000
SPEED = 8  # times real time, where the machine keeps up: clients are waited for
DEVICE = """
import json, os, signal, sys, time
import jack, numba, numpy as np

@numba.njit
def compress(x, y, state, threshold, slope, rise, fall, makeup):
    level = state[0]
    for n in range(len(x)):
        size = abs(x[n])
        level += (rise if size > level else fall) * (size - level)
        over = max(0.0, 20 * np.log10(max(level, 1e-9)) - threshold)
        y[n] = x[n] * 10 ** ((makeup - slope * over) / 20)
    state[0] = level

client = jack.Client("strip", no_start_server=True, servername=os.environ["JACK_DEFAULT_SERVER"])
into, out = client.inports.register("in_0"), client.outports.register("out_0")
state, noise, knobs, hosted = np.zeros(1), np.random.default_rng(1), {}, []
compress(np.zeros(8, np.float32), np.zeros(8, np.float32), np.zeros(1), -20.0, 0.5, 0.1, 0.1, 0.0)

def turn(*_):
    knobs.update(json.load(open(sys.argv[1])))
    wanted = knobs.get("plugin")
    if wanted:
        from tests.processors.ladspa_host import Plugin
        library, label, controls = wanted
        made = Plugin(library, label, controls, rate_hz=client.samplerate, block=client.blocksize)
        hosted[:] = [made]
    else:
        hosted.clear()

def process(frames):
    x, y = into.get_array(), out.get_array()
    if hosted:
        y[:] = hosted[0].run(x)
    elif knobs["ratio"] > 1:
        rise, fall = (1 - np.exp(-1 / (client.samplerate * knobs[key])) for key in ("attack_s", "release_s"))
        compress(x, y, state, knobs["threshold"], 1 - 1 / knobs["ratio"], rise, fall, 2.73)
    else:
        y[:] = x
    y += (1e-5 * noise.standard_normal(frames)).astype(np.float32)

turn()
signal.signal(signal.SIGUSR1, turn)
client.set_process_callback(process)
with client:
    print("up", flush=True)
    while True:
        time.sleep(0.1)
"""
OFF = {"ratio": 1.0, "threshold": 0.0, "attack_s": 0.01, "release_s": 0.1, "plugin": None}


class JackRig:
    """Where the server is, and the knobs of the device called "strip"."""

    def __init__(self, folder, env, server, device):
        self.folder, self.env, self.server, self.device = folder, env, server, device

    def turn(self, **knobs):
        """Turn the knobs of the device and wait until they are."""
        (self.folder / "knobs.json").write_text(json.dumps(OFF | knobs))
        self.device.send_signal(signal.SIGUSR1)
        time.sleep(0.3)


@contextlib.contextmanager
def jack_rig(folder, *, name="charprobe", speed=SPEED):
    """Run a server and a device, a compressor or a foreign plug-in; both are gone at the end, whatever happens."""
    name = f"{name}{os.getpid()}"
    env = os.environ | {
        "JACK_DEFAULT_SERVER": name,
        "JACK_NO_START_SERVER": "1",
        "JACK_NO_AUDIO_RESERVATION": "1",
        "PYTHONPATH": str(Path(__file__).parents[2]),
    }
    wait_us = round(1e6 * PERIOD / RATE_HZ / speed)
    command = ["jackd", "-S", "--no-realtime", "--name", name, "-L", "2", "-t", "1000", "-d", "dummy"]
    command += ["-r", str(RATE_HZ), "-p", str(PERIOD), "-C", "2", "-P", "2", "-w", str(wait_us)]
    (folder / "knobs.json").write_text(json.dumps(OFF))
    (folder / "device.py").write_text(DEVICE)
    _forget_dead_servers()
    with contextlib.ExitStack() as stack:
        log = stack.enter_context((folder / "server.log").open("w"))
        server = _started(stack, command, env=env, stdout=log, stderr=subprocess.STDOUT)
        for _ in range(100):
            time.sleep(0.1)
            ready = subprocess.run(["jack_lsp"], env=env, capture_output=True, check=False)
            if ready.returncode == 0:
                break
        call = [sys.executable, str(folder / "device.py"), str(folder / "knobs.json")]
        device = _started(stack, call, env=env, stdout=subprocess.PIPE)
        assert device.stdout.readline() == b"up\n", (folder / "server.log").read_text()
        yield JackRig(folder, env, server, device)


def _forget_dead_servers():
    """Clear what killed servers left in shared memory, where no server runs: there is room for eight."""
    running = [path for path in Path("/proc").glob("[0-9]*/comm") if _says(path) == "jackd"]
    for left in () if running else Path("/dev/shm").glob("jack*"):
        if left.is_dir():
            shutil.rmtree(left, ignore_errors=True)
        else:
            left.unlink(missing_ok=True)


def _says(path):
    with contextlib.suppress(OSError):
        return path.read_text().strip()
    return ""


def _started(stack, command, **how):
    """Start a process that is killed at the end, stopped ones too."""
    process = subprocess.Popen(command, **how)

    def end():
        process.send_signal(signal.SIGCONT)
        process.terminate()  # a server that is killed leaves shared memory, of which there is little
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(5)
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()

    stack.callback(end)
    return process
