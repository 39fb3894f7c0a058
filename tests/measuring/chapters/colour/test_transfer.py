import numpy as np
from cubic_device import cubic
from taken import column


def test_the_transfer_curve_of_the_cubic_is_the_cubic(coloured):
    x, y = (column(coloured, "transfer", name) for name in ("input", "output"))
    # the third harmonic is read to 0.01 dB in the rig's noise of -110 dBFS: 1e-5 of full scale
    np.testing.assert_allclose(y, cubic(x), atol=2e-5)
    assert any("One transfer curve explains" in sentence for sentence in coloured.findings)
