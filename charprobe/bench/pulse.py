"""Whether a sound device still gives samples, and as fast as it should, told from when they came."""

from __future__ import annotations

SILENT_S = 3.0  # without a sample: the server or the device is gone
CRAWL_S, CRAWL = 10.0, 0.1  # so long at less than this share of the rate: no take would ever end
STOOD_S = 1.0  # between two looks: this program itself was stopped, not the device


class Pulse:
    """Looks at a device again and again: whether it gives `rate_hz` samples in a second.

    `now_s` is the time of the beginning, by a clock that never goes back.
    """

    def __init__(self, rate_hz: int, now_s: float) -> None:
        self._rate_hz = rate_hz
        self._looked = self._came = self._paced = now_s
        self._frame = self._first = 0

    def stood_s(self, now_s: float) -> float:
        """Seconds that this program stood still since the last look, as when the machine slept; else 0."""
        gone = now_s - self._looked
        self._looked = now_s
        if gone <= STOOD_S:
            return 0.0
        self._came = self._paced = now_s  # the device is not to blame
        self._first = self._frame
        return gone

    def trouble(self, frame: int, now_s: float) -> str:
        """What is wrong with the device, in words; nothing as long as it gives samples."""
        if frame > self._frame:
            self._frame, self._came = frame, now_s
        elif now_s - self._came > SILENT_S:
            return f"stopped {frame / self._rate_hz:.1f} s into the take and does not answer"
        if now_s - self._paced > CRAWL_S:
            pace = (frame - self._first) / (now_s - self._paced)
            if pace < CRAWL * self._rate_hz:
                return f"gives only {pace:.0f} samples a second instead of {self._rate_hz}"
            self._paced, self._first = now_s, frame
        return ""
