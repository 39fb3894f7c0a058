"""What a test needs from the machine: without it the test is skipped, and on the build machine it fails."""

import os
import shutil

import pytest


def need(*missing, why):
    """Stop the test if anything is `missing`: nothing may be left out unseen where the environment sets ``CI``."""
    if not missing:
        return
    text = f"needs {', '.join(missing)} ({why})"
    if os.environ.get("CI"):
        pytest.fail(text)
    pytest.skip(text)


def need_programs(*names, why):
    """Stop the test unless all programs are on the path."""
    need(*(name for name in names if not shutil.which(name)), why=why)
