"""The board as the rooms above see it. Each method is one question; its answer is a frame with the raw bytes inside.

What drives arms the board first: lease held, and the channels concerned seen without voltage since it was taken.
All methods raise BoardError: `BoardRefused` for an error of the board, others for the link.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from tester.board.frames import DriverFrame, PatternFrame, TimingFrame, WalkFrame
from tester.board.readings import (
    CalibrationFrame,
    HeapFrame,
    IsolationFrame,
    ResistanceFrame,
    SelfTestFrame,
    UpdateFrame,
    WatchLoadFrame,
    WatchLogFrame,
    WatchStartFrame,
)
from tester.board.requests import LINE_LIMIT, channel_list
from tester.board.session import BODY_MOST, BoardInfo, Progress, Session, rows_most
from tester.errors import BoardError

__all__ = ["Board", "BoardInfo"]

UPDATE_S = 30.0  # writing and hashing a board's flash takes its time


class Board(Session):
    """An opened board."""

    def timing(self, release_us: int | None = None, fall_us: int | None = None) -> TimingFrame:
        """Read, or set, microseconds of active release and from driving to reading."""
        values = () if release_us is None or fall_us is None else (release_us, fall_us)
        return self._ask(TimingFrame, "SCAN:TIM?", *values)

    def drivers(self, channels: Iterable[int]) -> DriverFrame:
        """Self-check: can each channel pull itself low, and does it let go?"""
        wanted = tuple(channels)
        return self._sliced(
            DriverFrame, wanted, lambda part: ("DIAG:DRIV?", part), lambda n: 2 + n, arm=lambda: self._arm(wanted)
        )

    def walk(self, drive: Iterable[int], read: Iterable[int], progress: Progress | None = None) -> WalkFrame:
        """Full scan: each channel of `drive` pulled low in turn, all of `read` read. `progress(done, total)`."""
        driving, reading = tuple(drive), tuple(read)
        width = (len(reading) + 7) // 8
        return self._sliced(
            WalkFrame,
            driving,
            lambda part: ("SCAN:WALK?", part, reading),
            lambda n: 4 + n * width,
            progress=progress,
            most=rows_most(len(reading)),
            arm=lambda: self._arm((*driving, *reading)),
        )

    def patterns(self, read: Iterable[int], driven: Iterable[Iterable[int]]) -> PatternFrame:
        """Quick check: all channels of each pattern pulled low together, all of `read` read."""
        reading = tuple(read)
        width = (len(reading) + 7) // 8
        rows = tuple(tuple(pattern) for pattern in driven)
        longest = max((len(channel_list(row)) + 1 for row in rows), default=1)
        room = (LINE_LIMIT - 40 - len(channel_list(reading))) // longest
        return self._sliced(
            PatternFrame,
            rows,
            lambda part: ("SCAN:PATT?", reading, *part),
            lambda n: 4 + n * width,
            most=max(1, min(room, rows_most(len(reading)))),
            arm=lambda: self._arm({*reading, *(channel for row in rows for channel in row)}),
        )

    def resistance(self, a: int, b: int, gauge: int = 0, samples: int = 2) -> ResistanceFrame:
        """Four-wire reading with current reversal; `ohms.resistance(frame)` turns it into ohms.

        `gauge`: 1 (4.096 V) to 5 (0.256 V), 0 lets the board choose. `samples`: 1 to 16.
        """
        return self._leased(lambda: self._arm((a, b)), ResistanceFrame, "MEAS:RES?", a, b, gauge, samples)

    def isolation(self, y: int, others: Iterable[int], samples: int = 4) -> IsolationFrame:
        """Leakage of the circuit of `y` against the others, one channel of each; `ohms.isolation(frame)`."""
        rest = tuple(others)
        return self._leased(lambda: self._arm((y, *rest)), IsolationFrame, "MEAS:ISOL?", y, rest, samples)

    def watch_load(
        self, read: Iterable[int], held: Iterable[int], coded: Iterable[Iterable[int]] = ()
    ) -> WatchLoadFrame:
        """Give the board the patterns of a dropout watch: `held` drives one channel of every circuit."""
        self._watched = tuple(read)
        patterns = [tuple(held), *(tuple(pattern) for pattern in coded)]
        return self._ask(WatchLoadFrame, "WATC:LOAD?", self._watched, *patterns)

    def watch_start(self, every: int = 0, let_go: bool = False) -> WatchStartFrame:
        """Start the loaded watch; `every`: a coded pattern after so many readings. The answer is the baseline.

        `let_go`: the coded patterns name held channels that the board lets go of, those of a group of 16 at a time,
        in place of channels that it drives (protocol 1.1). Call `watch_log` at least every half second: the watch ends
        with the lease.
        """
        how = (every, 1) if let_go else (every,)
        return self._leased(lambda: self._arm(self._watched), WatchStartFrame, "WATC:STAR?", *how, body_most=BODY_MOST)

    def watch_log(self, first: int = 0) -> WatchLogFrame:
        """What the watch saw, from event number `first` on; keeps the lease."""
        return self._leased(self._renew, WatchLogFrame, "WATC:LOG?", first)

    def watch_stop(self) -> WatchLogFrame:
        """End the watch."""
        return self._ask(WatchLogFrame, "WATC:STOP?")

    def self_test(self, part: int, card: int = 1) -> SelfTestFrame:
        """Test the board itself: 0 expanders, 1 multiplexers, 2 reference cell, 3 crosstalk between neighbours.

        1 and 3 concern one card of 64 channels; nothing may be plugged in there.
        """
        every = range(64 * card - 63, min(64 * card, self.info.channels) + 1) if part in (1, 3) else ()
        asked = (part, card) if part in (1, 3) else (part,)
        return self._leased(lambda: self._arm(every), SelfTestFrame, "DIAG:SELF?", *asked, body_most=BODY_MOST)

    def heap(self) -> HeapFrame:
        """Memory of the firmware."""
        return self._ask(HeapFrame, "DIAG:HEAP?")

    def calibrate_reference(self, a: int, b: int, milliohm: int) -> CalibrationFrame:
        """Set the gain from a known resistor between two channels; lost at power-off unless saved."""
        return self._leased(lambda: self._arm((a, b)), CalibrationFrame, "CAL:REF?", a, b, milliohm)

    def calibrate_zero(self, channels: Sequence[int]) -> CalibrationFrame:
        """Set the zero (lead resistance) of 3 to 7 channels that one shorting plug joins."""
        return self._leased(lambda: self._arm(channels), CalibrationFrame, "CAL:ZERO?", channels)

    def calibrate_baseline(self, channels: Sequence[int], others: Sequence[int]) -> CalibrationFrame:
        """Set the baseline (leakage of the empty board) of at most 6 channels."""
        every = (*channels, *others)
        return self._leased(lambda: self._arm(every), CalibrationFrame, "CAL:BAS?", channels, others)

    def calibrate_save(self, date: str) -> CalibrationFrame:
        """Store what was set on the board. `date`: yyyy-mm-dd."""
        return self._ask(CalibrationFrame, "CAL:SAVE?", f'"{date}"')

    def calibration(self) -> CalibrationFrame:
        """The stored calibration."""
        return self._ask(CalibrationFrame, "CAL:DATA?", body_most=BODY_MOST)

    def update(self, header: str, *arguments: int | str) -> UpdateFrame:
        """One step of a firmware update (install.py); nobody may hold the lease during one, so it is given back."""
        self._give_back()
        with self._talk.within(UPDATE_S):
            frame = self._talk.ask(header, *arguments, patience=UPDATE_S / 3)
        if not isinstance(frame, UpdateFrame):
            raise BoardError(f"{self.address}: {header} was answered by a {type(frame).__name__}", code="protocol")
        return frame

    def forsake(self) -> None:
        """The board restarts: nothing more to say to it before closing."""
        self._talk.broken = True

    def rewire(self, leads_path: Path) -> bool:
        """Plug a virtual harness in by another lead map; False on a real board, where a person does it."""
        return self._wire.tell("leads", str(leads_path.absolute()))

    def plug(self, harness_path: Path, leads_path: Path | None = None) -> bool:
        """Put another virtual harness on the leads; False on a real board."""
        done = self._wire.tell("harness", str(harness_path.absolute()))
        return done and (leads_path is None or self.rewire(leads_path))

    def tell(self, *words: str) -> bool:
        """A command to the virtual board itself (`touch` `H-11`, `release`, `unplug`); False on a real board."""
        return self._wire.tell(*words)
