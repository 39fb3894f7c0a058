import numpy as np
import pytest


@pytest.fixture
def rng(request):
    """A generator of its own for each test, the same in every run."""
    return np.random.default_rng(sum(request.node.name.encode()))
