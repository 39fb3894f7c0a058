"""The whole job on simulated devices: demo, self-test, accuracy goals."""
