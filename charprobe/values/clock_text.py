"""Times as an editor shows them."""

from __future__ import annotations


def clock_text(seconds: float) -> str:
    """Write a time from the start of a capture as h:mm:ss.mmm.

    Examples
    --------
    >>> clock_text(48.2134)
    '0:00:48.213'
    >>> clock_text(3725.9996)
    '1:02:06.000'
    """
    total_ms = round(seconds * 1000)
    minutes, ms = divmod(total_ms, 60_000)
    return f"{minutes // 60}:{minutes % 60:02d}:{ms // 1000:02d}.{ms % 1000:03d}"
