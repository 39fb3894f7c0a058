"""An environment of its own into which the program is installed; dependencies are those of the tests."""

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

ROOT = Path(__file__).parents[1]
PIP = ("--quiet", "--disable-pip-version-check", "--no-deps", "--no-build-isolation")


def source_tree(folder):
    """A copy of what is built from, as a clone has it: without anything compiled."""
    for name in ("pyproject.toml", "README.md"):
        (folder / name).write_bytes((ROOT / name).read_bytes())
    for top in ("charprobe", "stimuli", "docs"):
        for path in (ROOT / top).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                copy = folder / path.relative_to(ROOT)
                copy.parent.mkdir(parents=True, exist_ok=True)
                copy.write_bytes(path.read_bytes())
    return folder


class FreshEnvironment:
    """A virtual environment that sees the packages of the running tests, and a cache folder beside it."""

    def __init__(self, folder):
        self.folder, self.cache = folder / "environment", folder / "cache"
        self.variables = {k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "NUMBA_CACHE_DIR"}}
        self.variables |= {"XDG_CACHE_HOME": str(self.cache), "PYTHONIOENCODING": "utf-8"}
        self.run([sys.executable, "-m", "venv", "--without-pip", self.folder], folder)
        (self.packages,) = self.folder.glob("lib/python*/site-packages")
        (self.packages / "borrowed.pth").write_text(sysconfig.get_path("purelib"), encoding="utf-8")

    def run(self, command, where):
        """Run a command in a folder, and return what it printed."""
        done = subprocess.run(
            command,
            cwd=where,
            env=self.variables,
            capture_output=True,
            encoding="utf-8",
            timeout=600,
            check=False,
        )
        assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
        return done.stdout

    @property
    def python(self):
        """Its interpreter."""
        return str(self.folder / "bin" / "python")

    def install(self, *what):
        """Install with the pip of the tests."""
        self.run(
            [sys.executable, "-m", "pip", "--python", self.python, "install", *PIP, "--no-compile", *what],
            self.folder,
        )

    def charprobe(self, *arguments, where):
        """Run the installed command."""
        return self.run([self.folder / "bin" / "charprobe", *arguments], where)
