"""Simulated devices with known truth, and the rig around them."""
