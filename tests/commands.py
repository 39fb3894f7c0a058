"""The commands as a person uses them: run, and what is expected of the good and of the refused."""

import soundfile
from click.testing import CliRunner

from charprobe.cli import main

RATE = 48_000


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def good(*arguments):
    result = run(*arguments)
    assert result.exit_code == 0, result.output
    return result


def refused(result, *, code=1, says):
    assert result.exit_code == code, result.output
    assert says in result.stderr
    assert "Traceback" not in result.output
    assert result.stderr.count("Error:") == 1
    return result


def altered(bench, folder, change, *, subtype="PCM_24", rate=RATE):
    samples, _ = soundfile.read(bench / "on.wav")
    path = folder / "altered.wav"
    soundfile.write(path, change(samples), rate, subtype=subtype)
    return path
