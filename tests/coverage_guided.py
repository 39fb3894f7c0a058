"""Coverage-guided fuzzing without any extra package: inputs that reach new lines are kept and mutated further."""

import multiprocessing
import os
import resource
import signal
import sys
import time
import traceback
from pathlib import Path

import charprobe

ROOT = str(Path(charprobe.__file__).parent)
MOST_BYTES = 20_000
MOST_MEMORY = 500_000_000
MOST_SECONDS = 10.0


class Reached:
    """Lines of charprobe that run inside the ``with`` block; others are not traced, so they cost little."""

    def __enter__(self):
        self.lines = set()
        self.before = sys.gettrace()
        sys.settrace(self._call)
        return self

    def __exit__(self, *_):
        sys.settrace(self.before)

    def _call(self, frame, event, argument):
        return self._line if frame.f_code.co_filename.startswith(ROOT) else None

    def _line(self, frame, event, argument):
        self.lines.add((frame.f_code, frame.f_lineno))
        return self._line


def fuzz(target, *, starts, words, allowed, seconds, rng):
    """Feed mutated inputs to `target` for some seconds.

    Parameters
    ----------
    target : callable
        Takes bytes; may raise `allowed`, anything else is a finding.
    starts, words : list of bytes
        Good inputs to begin with, and pieces that matter to the format.
    allowed : type
        The one kind of exception that a bad input may cause.
    seconds : float
        How long to go on, of the processor's time: a busy machine tries no fewer inputs.
    rng : Generator
        Source of all mutations.

    Returns
    -------
    tuple of (int, int, int)
        Inputs tried, lines reached, inputs kept.
    """
    corpus = list(starts)
    reached = set()
    tried = 0
    ends = time.process_time() + seconds
    for data in starts:
        reached |= run(target, data, allowed)
    while time.process_time() < ends:
        data = mutated(corpus[rng.integers(len(corpus))], corpus, words, rng)
        lines = run(target, data, allowed)
        tried += 1
        if not lines <= reached:
            reached |= lines
            corpus.append(data)
    return tried, len(reached), len(corpus)


def fuzz_within_limits(target, **options):
    """Do the same in a child that may take `MOST_MEMORY` bytes more than it has; parameters as in `fuzz`."""
    receiver, sender = multiprocessing.Pipe(duplex=False)
    child = multiprocessing.get_context("fork").Process(target=_limited, args=(sender, target, options))
    child.start()
    sender.close()
    try:
        found = receiver.recv()
    except EOFError:
        found = "the child ended without a word"
    child.join()
    assert not isinstance(found, str), found
    return found


def _limited(sender, target, options):
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    resource.setrlimit(resource.RLIMIT_AS, (pages * os.sysconf("SC_PAGE_SIZE") + MOST_MEMORY,) * 2)
    try:
        sender.send(fuzz(target, **options))
    except BaseException:
        sender.send(traceback.format_exc())


def _too_slow(signum, frame):
    raise TimeoutError(f"one input took more than {MOST_SECONDS} s of the processor")


def run(target, data, allowed):
    """Run one input; show it if it breaks the promise that only `allowed` is raised, or takes too long."""
    signal.signal(signal.SIGPROF, _too_slow)
    with Reached() as trace:
        signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
        try:
            target(data)
        except allowed:
            pass
        except BaseException as error:
            error.add_note(f"input ({len(data)} bytes): {data[:2000]!r}")
            raise
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
    return trace.lines


def mutated(data, corpus, words, rng):
    """Change an input in one to four places."""
    out = bytearray(data)
    for _ in range(rng.integers(1, 5)):
        at = int(rng.integers(len(out) + 1))
        length = int(2 ** rng.uniform(0, 6))
        kind = rng.integers(7)
        if kind == 0:
            out[at : at + 1] = bytes([rng.integers(256)])
        elif kind == 1:
            del out[at : at + length]
        elif kind == 2:
            out[at:at] = out[at : at + length] * int(rng.integers(1, 4))
        elif kind == 3:
            out[at : at + int(rng.integers(2)) * length] = words[rng.integers(len(words))]
        elif kind == 4:
            other = corpus[rng.integers(len(corpus))]
            start = int(rng.integers(len(other) + 1))
            out[at : at + length] = other[start : start + length]
        elif kind == 5:
            out[at : at + 4] = int(rng.choice([0, 1, 2**16, 2**31, 2**32 - 1])).to_bytes(4, "little")
        else:
            del out[at:]
    return bytes(out[:MOST_BYTES])
