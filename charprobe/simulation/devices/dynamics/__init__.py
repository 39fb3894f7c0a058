"""Devices whose gain moves: compressors of several makes, a gate."""
