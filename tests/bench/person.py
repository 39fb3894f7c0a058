"""A person at a terminal: a program on a pseudo-terminal whose questions are answered."""

import contextlib
import os
import pty
import re
import select
import signal
import time


class Person:
    """Runs a command on a pseudo-terminal; reads until something is said, then types."""

    def __init__(self, command, *, cwd, env):
        self.heard, self.unread, self.code = "", "", None
        self.pid, self.terminal = pty.fork()
        if self.pid == 0:
            os.chdir(cwd)
            os.execvpe(command[0], command, env)

    def hears(self, pattern, *, within_s=120):
        """Wait until `pattern` is said; return the match. What was said before it is passed over."""
        end = time.monotonic() + within_s
        while (match := re.search(pattern, self.unread)) is None:
            assert time.monotonic() < end, f"never said {pattern!r}: {self.heard[-3000:]}"
            if not select.select([self.terminal], [], [], 0.2)[0]:
                continue
            try:
                said = os.read(self.terminal, 65_536).decode(errors="replace")
            except OSError:
                said = ""
            assert said, f"ended without {pattern!r}: {self.heard[-3000:]}"
            self.heard += said
            self.unread += said
        self.unread = self.unread[match.end() :]
        return match

    def types(self, text=""):
        """Type a line."""
        os.write(self.terminal, f"{text}\n".encode())

    def presses_ctrl_c(self):
        """Interrupt."""
        os.write(self.terminal, b"\x03")

    def is_killed(self):
        """End at once, as a crash does."""
        with contextlib.suppress(ProcessLookupError, ChildProcessError):
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)

    def reads_on(self):
        """Read what has been said meanwhile."""
        while select.select([self.terminal], [], [], 0.1)[0]:
            try:
                said = os.read(self.terminal, 65_536).decode(errors="replace")
            except OSError:
                return
            if not said:
                return
            self.heard += said
            self.unread += said

    def ends(self, *, within_s=120):
        """Wait for the end; return the exit code."""
        end = time.monotonic() + within_s
        while time.monotonic() < end:
            if select.select([self.terminal], [], [], 0.1)[0]:
                with contextlib.suppress(OSError):
                    self.heard += os.read(self.terminal, 65_536).decode(errors="replace")
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.reads_on()
                return os.waitstatus_to_exitcode(status)
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        raise AssertionError(f"did not end: {self.heard[-2000:]}")
