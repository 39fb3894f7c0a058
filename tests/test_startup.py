"""Start-up is instant: help loads none of the heavy libraries."""

import subprocess
import sys

import pytest

PROBE = """
import sys
from click.testing import CliRunner
from charprobe.cli import main
result = CliRunner().invoke(main, sys.argv[1:])
assert result.exit_code == 0, result.output
heavy = sorted({"numpy", "scipy", "matplotlib", "librosa", "numba", "soundfile", "pydantic"} & set(sys.modules))
print(",".join(heavy))
"""


@pytest.mark.parametrize("arguments", [["--help"], ["measure", "--help"], ["demo", "--help"], ["--version"]])
def test_help_imports_no_heavy_library(arguments):
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *arguments], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == ""
