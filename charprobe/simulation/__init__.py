"""Known truth: simulated devices and the rig around them, for rehearsals and tests."""
