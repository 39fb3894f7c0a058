"""Harmonics, intermodulation and transfer curve, and what ripple of the gain explains of them."""
