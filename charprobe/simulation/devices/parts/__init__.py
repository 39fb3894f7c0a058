"""What devices are built of: detectors, curves, ballistics, filters, compiled loops."""
