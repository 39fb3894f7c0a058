"""Stimulus recipes shipped with charprobe, as TOML."""
