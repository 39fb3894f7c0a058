"""A sound stream without a sound device: a thread calls back, and a function stands for what is patched between."""

import threading
import time

import numpy as np


class FakeStream:
    """Calls back as a driver does, faster than real time; `device` turns what is played into what is recorded."""

    def __init__(
        self, patch, callback, *, device=lambda block: block, stops_at=None, flag_at=None, block=1024
    ):
        self.patch, self.callback, self.device, self.block = patch, callback, device, block
        self.stops_at, self.flag_at = stops_at, flag_at
        self.running, self.hangs, self.played = False, False, []
        self.goes = threading.Event()
        self.goes.set()
        self.thread = threading.Thread(target=self.run, daemon=True)

    def start(self):
        self.running = True
        self.thread.start()

    def run(self):
        came = np.zeros((self.block, max(self.patch.inputs)), dtype=np.float32)
        at = 0
        while self.running and (self.stops_at is None or at < self.stops_at):
            goes = np.full((self.block, max(self.patch.outputs)), np.nan, dtype=np.float32)
            flag = (
                "input overflow" if self.flag_at is not None and at <= self.flag_at < at + self.block else ""
            )
            self.goes.wait()
            self.callback(came, goes, self.block, None, flag)
            self.played.append(goes.copy())
            came = np.zeros_like(came)
            came[:, :] = self.device(goes)[:, : came.shape[1]]
            at += self.block
            time.sleep(0.0002)

    def abort(self):
        self.running = False
        if self.hangs:
            threading.Event().wait()
        if self.thread is not threading.current_thread():
            self.thread.join()

    def close(self):
        pass


def opener(made=None, **how):
    """An `opened` for `record_take`; streams it makes are appended to `made`."""

    def opened(patch, callback):
        stream = FakeStream(patch, callback, **how)
        if made is not None:
            made.append(stream)
        return stream

    return opened
