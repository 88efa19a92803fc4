"""The virtual board as a process of its own: started, asked for its port, and surely ended.

It is `python -m hwspec.virtual` from the tree that travels with this package, never imported here. It serves until
its standard input closes, which the operating system does for us should this program be killed.
"""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import shlex
import subprocess
import sys
import threading
import time
from pathlib import Path

from tester.errors import BoardError, InputError
from tester.shipped import shipped_root

START_S = 20.0
END_S = 3.0
TELL_S = 5.0
TALK_MOST = 4000
HEARD_MOST = 65_536


class VirtualBoard:
    """A running virtual board; `port` is the serial port that it serves. Context manager."""

    def __init__(self, harness: Path, leads: Path | None, extra: tuple[str, ...] = ()) -> None:
        """Start it. `harness` is plugged in by the lead map `leads`; `extra` are options of `hwspec.virtual`.

        Raises InputError when it finds fault with a file (its own words are passed on), BoardError when it does not
        come up.
        """
        command = [sys.executable, "-m", "hwspec.virtual", "--harness", str(harness.absolute())]
        if leads is not None:
            command += ["--leads", str(leads.absolute())]
        root = str(shipped_root())
        paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
        env = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONUTF8": "1"}
        self._heard = b""
        self._talk = b""
        try:
            self._process = subprocess.Popen(
                [*command, "--json", *extra],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                cwd=root,
                env=env,
            )
        except OSError as error:
            raise BoardError(f"the virtual board cannot be started: {error}", code="virtual") from error
        # a pipe that nobody reads would block the board; the thread ends when the board does
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        try:
            self.port = self._port(str(harness))
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> VirtualBoard:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def pid(self) -> int:
        """Process id."""
        return self._process.pid

    def tell(self, *words: str) -> dict[str, object]:
        """Give it a command, such as `touch` `H-11`, wait until it has taken effect, and return what it says.

        After `replug`, `port` is the new one. Raises InputError with its own words when it cannot, BoardError when it
        does not answer.
        """
        assert self._process.stdin is not None
        line = shlex.join(words)
        if "\n" in line:
            raise InputError(f"a command to the virtual board is one line, not {line!r}")
        end = time.monotonic() + TELL_S
        try:
            self._process.stdin.write(line.encode("utf-8") + b"\n")
            self._process.stdin.flush()
            while True:
                said = self._said(end)
                if said is None:
                    raise OSError("nothing came")
                if "error" in said:
                    raise InputError(str(said["error"]))
                self.port = str(said.get("port", self.port))
                if "done" in said:
                    return said
        except (OSError, ValueError) as failed:
            words_left = self.last_words()
            raise BoardError(f"the virtual board does not answer to {line!r}: {words_left}", code="virtual") from failed

    def last_words(self) -> str:
        """What it wrote on standard error so far, the last line when that is a traceback."""
        if self._process.poll() is not None:
            self._listener.join(1.0)
        text = self._talk.decode("utf-8", "replace").strip()
        return text.splitlines()[-1] if "Traceback" in text else text

    def close(self) -> None:
        """End it: close its input, and when that is not enough, kill it. May be called twice."""
        process = self._process
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        self._wait()
        self._listener.join(1.0)

    def _listen(self) -> None:
        """Keep the beginning of what it says on standard error."""
        assert self._process.stderr is not None
        with self._process.stderr as talk:
            while piece := os.read(talk.fileno(), 4096):
                self._talk += piece[: TALK_MOST - len(self._talk)]

    def _wait(self) -> int:
        try:
            return self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            return self._process.wait()

    def _port(self, harness: str) -> str:
        """The first line of its output, within `START_S`."""
        said = self._said(time.monotonic() + START_S)
        if said and isinstance(said.get("port"), str):
            return str(said["port"])
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            self._process.stdin.close()
        status = self._wait()
        words = self.last_words()
        if status == 3:
            raise InputError(words or f"{harness}: the virtual board does not accept this harness")
        raise BoardError(
            f"the virtual board did not start for {harness}: {words or 'it said nothing'}",
            "Try it alone: `loomwright board virtual --harness FILE --leads FILE`.",
            code="virtual",
        )

    def _said(self, until: float) -> dict[str, object] | None:
        """The next JSON line of its output, None when none comes in time or it ended."""
        assert self._process.stdout is not None
        descriptor = self._process.stdout.fileno()
        with selectors.DefaultSelector() as selector:
            selector.register(descriptor, selectors.EVENT_READ)
            while b"\n" not in self._heard:
                if not selector.select(max(0.0, until - time.monotonic())):
                    return None
                more = os.read(descriptor, 4096)
                if not more or len(self._heard) > HEARD_MOST:
                    return None
                self._heard += more
        line, _, self._heard = self._heard.partition(b"\n")
        try:
            said = json.loads(line)
        except ValueError:
            return None
        return said if isinstance(said, dict) else None
