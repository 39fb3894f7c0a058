"""Figures of attack and release: traces, programme dependence, a train of bursts."""
