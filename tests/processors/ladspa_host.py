"""One mono LADSPA plug-in in this process, block by block: what a live loop needs, where a file runner has none."""

import ctypes
from pathlib import Path

import numpy as np

FOLDER = Path("/usr/lib/ladspa")
INPUT, CONTROL = 1, 4  # bits of a port's kind


class Descriptor(ctypes.Structure):
    """What a library says of one of its plug-ins, in the order of ladspa.h."""

    _fields_ = [
        ("unique", ctypes.c_ulong), ("label", ctypes.c_char_p), ("properties", ctypes.c_int), ("name", ctypes.c_char_p),
        ("maker", ctypes.c_char_p), ("rights", ctypes.c_char_p), ("ports", ctypes.c_ulong),
        ("kinds", ctypes.POINTER(ctypes.c_int)), ("port_names", ctypes.c_void_p), ("hints", ctypes.c_void_p),
        ("own", ctypes.c_void_p),
        ("instantiate", ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_void_p, ctypes.c_ulong)),
        ("connect", ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_ulong, ctypes.c_void_p)),
        ("activate", ctypes.CFUNCTYPE(None, ctypes.c_void_p)),
        ("run", ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_ulong)),
    ]  # fmt: skip


class Plugin:
    """A plug-in by library and label; `controls` are its input controls in their order."""

    def __init__(self, library, label, controls, *, rate_hz, block):
        self.library = ctypes.CDLL(str(FOLDER / f"{library}.so"))
        find = self.library.ladspa_descriptor
        find.restype, find.argtypes = ctypes.POINTER(Descriptor), [ctypes.c_ulong]
        number = 0
        while (found := find(number)) and found.contents.label != label.encode():
            number += 1
        if not found:
            raise ValueError(f"{library} has no plug-in {label}")
        self.told = found.contents
        self.handle = self.told.instantiate(ctypes.cast(found, ctypes.c_void_p), rate_hz)
        self.came, self.goes = np.zeros(block, np.float32), np.zeros(block, np.float32)
        self.values = np.zeros(self.told.ports, np.float32)
        given = iter(controls)
        for port in range(self.told.ports):
            kind = self.told.kinds[port]
            if kind & CONTROL:
                if kind & INPUT:
                    self.values[port] = next(given)
                place = self.values[port:]
            else:
                place = self.came if kind & INPUT else self.goes
            self.told.connect(self.handle, port, place.ctypes.data)
        if self.told.activate:
            self.told.activate(self.handle)

    def run(self, block):
        """Process one block of the size promised."""
        self.came[:] = block
        self.told.run(self.handle, len(block))
        return self.goes
