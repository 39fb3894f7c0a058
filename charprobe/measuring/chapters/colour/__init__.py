"""Harmonics against level and frequency, intermodulation and transfer curve."""
