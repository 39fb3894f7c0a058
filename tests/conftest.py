import contextlib
import fcntl
import gc
import os
import tempfile
import zlib
from pathlib import Path

import numpy as np
import pytest

NOBODY = 65_534
# what tests start as commands compiles the package once, not each time, and leaves nothing in the tree
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ.setdefault("PYTHONPYCACHEPREFIX", str(Path(tempfile.gettempdir(), "charprobe-tests-compiled")))
LONG = (
    "test_checks.py",
    "test_install.py",
    "test_wheel.py",
    "test_fuzz.py",
    "test_demo.py",
    "test_cluster.py",
)


def pytest_configure():
    """Look for no garbage while modules are loaded and tests collected: there is none."""
    gc.disable()


def pytest_collection_modifyitems(items):
    """Start what takes long first, so that no worker is left with it at the end."""
    items.sort(key=lambda item: item.path.name not in LONG)


def pytest_collection_finish():
    """Leave modules and tests, which stay to the end, out of every later search for garbage."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(400_000)  # as a command does
    gc.enable()


@pytest.fixture(scope="session")
def shared(tmp_path_factory):
    """A folder by its name, filled by whichever worker asks first; the others wait and find it filled."""
    own = tmp_path_factory.getbasetemp()
    root = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own

    def folder(name, fill):
        place = root / f"shared-{name}"
        with (root / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not place.exists():
                unfinished = Path(tempfile.mkdtemp(dir=root))
                fill(unfinished)
                unfinished.rename(place)
        return place

    return folder


@pytest.fixture
def rng(request):
    """A generator of its own for each test, the same in every run."""
    return np.random.default_rng(zlib.crc32(request.node.nodeid.encode()))


@pytest.fixture
def locked_folder():
    """A context with a folder that takes no files; root, who may write anywhere, is somebody else inside it."""

    @contextlib.contextmanager
    def locked():
        folder, user = Path(tempfile.mkdtemp()), os.geteuid()
        folder.chmod(0o555)
        if user == 0:
            os.seteuid(NOBODY)
        try:
            yield folder
        finally:
            os.seteuid(user)
            folder.chmod(0o755)
            folder.rmdir()

    return locked
