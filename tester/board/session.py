"""A session with a board: opening, lease, voltage check, slices, off, close. What it can be asked: `client.Board`.

Opening asks, it does not wait for a banner: throw away old bytes, `*IDN?`, a random number back, protocol version,
lease. A lease is the permission to drive; it dies by itself when this program falls silent, and hardware then lets
every channel go. Long questions are asked in slices that each return within 250 ms, the lease renewed between them.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Self, TypeVar, cast

from tester.board import codec
from tester.board.exchange import BoardRefused, Exchange, Troubles
from tester.board.frames import Frame, LeaseFrame, OffFrame, StateFrame, TimingFrame, VoltageFrame
from tester.board.limits import limit
from tester.board.link import Link, SerialLink
from tester.board.recording import Channel, Recorder, Wire
from tester.board.requests import Argument
from tester.errors import BoardError

PROTOCOL_MAJOR = 1
LEASE_MS = 500
RENEW_S = 0.2  # renew when less than this is left
BODY_MOST = 2064  # longest body of a reply
SLICE = 64  # channels or patterns in one slice, halved when the board says that it takes too long
VOLTAGE_SLICE = 48
ARMINGS = 3
OPEN_S, SLICE_S, CLOSE_S = 10.0, 8.0, 3.0  # longest waits: for opening, for one slice of a question, for closing
VOLTAGE_HINT = "Unplug the harness from everything that can feed it, let it dry, then start again."

Progress = Callable[[int, int], None]
F = TypeVar("F", bound=Frame)
_IDENTITY = re.compile(r"Loomwright,([^,]*),([^,]*),([^,]*)")


@dataclass(frozen=True)
class BoardInfo:
    """Who the board is and what it can do. `can`: of scan, voltage, resistance, isolation, watch."""

    model: str
    serial: str
    firmware: str
    protocol: str
    build: str
    channels: int
    can: frozenset[str]
    limits: str = ""
    fields: tuple[tuple[str, str], ...] = ()


def rows_most(read: int) -> int:
    """Rows of `read` channels that fit into one reply, at most one slice."""
    return max(1, min(SLICE, (BODY_MOST - 4) // max(1, (read + 7) // 8)))


class Session:
    """An opened board as far as every question needs it.

    Use as a context manager: whatever happens, the board is released and the port closed.
    """

    def __init__(self, wire: Channel) -> None:
        """Identify and take over the board behind `wire`. Raises BoardError and closes the wire then."""
        self._wire = wire
        self._begin()

    def _begin(self) -> None:
        self._talk = Exchange(self._wire)
        self._lease_until = 0.0
        self._lease_s = 0.0
        self._checked: set[int] = set()  # channels seen without voltage since the lease was taken
        self._leases = 0
        self._watched: tuple[int, ...] = ()
        self._nonce = 0
        try:
            with self._talk.within(OPEN_S):
                self.info = self._identify()
                self._take_lease()
                self._usual_timing()
        except BaseException:
            self._wire.close()
            raise

    def record(self, recorder: Recorder | None) -> None:
        """Write every byte from here on into `recorder`, beginning as if the board were opened now; None: no longer.

        So what is written can be played back by itself (`ReplayWire`). Raises BoardError.
        """
        if recorder is None:
            self._wire.record(None)
            return
        troubles = self._talk.troubles
        self.let_go()
        self._wire.record(recorder)
        self._begin()
        self._talk.troubles = troubles

    @classmethod
    def open(
        cls,
        address: str,
        *,
        recorder: Recorder | None = None,
        clock: Callable[[], float] = time.monotonic,
        link: Link | None = None,
    ) -> Self:
        """Open a serial path or any address that pySerial's `serial_for_url` takes.

        `link` takes the place of a port (tests). Virtual harnesses need `open_board`. Raises BoardError.
        """
        return cls(Wire(link or SerialLink(address), clock, recorder))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def address(self) -> str:
        """What a person calls this port."""
        return self._wire.address

    @property
    def troubles(self) -> Troubles:
        """What went wrong on the line so far and was mended by asking again."""
        return self._talk.troubles

    def close(self) -> None:
        """Let every channel go, give the lease back, close the port. Never raises; may be called twice."""
        try:
            if not self._talk.broken:
                with self._talk.within(CLOSE_S):
                    self.off()
                    self._give_back()
        except BoardError:
            pass  # the lease runs out by itself, and with it everything that is driven
        finally:
            self._talk.broken = True
            self._wire.close()

    def off(self) -> None:
        """Release every channel. Raises BoardError only while the link still works: a dead link releases by itself."""
        if not self._talk.broken:
            self._lapse()
            self._ask(OffFrame, "OUTP:OFF?")

    def let_go(self) -> None:
        """Release every channel, give the lease back; what was checked under it is void. Raises BoardError."""
        self.off()
        self._give_back()

    def keep(self) -> None:
        """Renew the lease if it is held, so that a pause of up to half a second costs no new voltage check."""
        if self._wire.tick() < self._lease_until:
            self._renew()

    def state(self) -> StateFrame:
        """What the board says of itself now."""
        return self._ask(StateFrame, "SYST:STAT?")

    def voltage(self, channels: Iterable[int]) -> VoltageFrame:
        """Volts on each channel with nothing driven. The frame's `live()` names those that carry a voltage."""
        self._renew()
        lease = self._leases
        frame = self._sliced(
            VoltageFrame,
            tuple(channels),
            lambda part: ("MEAS:VOLT?", part),
            lambda n: 2 + 4 * n,
            most=VOLTAGE_SLICE,
            arm=self._renew,
        )
        if lease == self._leases:
            self._checked |= set(frame.channels) - {channel for channel, _ in frame.live()}
        return frame

    def _identify(self) -> BoardInfo:
        self._talk.drain()
        self._talk.tell("")  # ends a line that another program left half written
        found, others = self._talk.ask_line("*IDN?", _IDENTITY)
        if found is None:
            raise self._no_board(others)
        self._talk.tell("*CLS")  # errors that earlier chatter left in the queue are not ours
        try:
            sync = self._talk.sync()
        except BoardRefused as refused:
            raise self._held(refused) from refused
        protocol = f"{sync.major}.{sync.minor}"
        if sync.major != PROTOCOL_MAJOR:
            raise BoardError(
                f"{self.address}: the board speaks protocol {protocol}, this program {PROTOCOL_MAJOR}.x",
                "Bring the older of the two up to date: `loomwright board install`, or a newer loomwright.",
                code="protocol",
            )
        said = self.state().fields
        self._nonce = sync.nonce
        channels = said.get("channels", "")
        if not channels.isdecimal() or not 1 <= int(channels) <= 256:
            raise BoardError(f"{self.address}: the board says it has {channels!r} channels", code="protocol")
        kind = said.get("build", "")
        return BoardInfo(
            model=f"Scanboard {kind.capitalize()}",  # as *IDN? has it, but that answer carries no check sum
            serial=said.get("serial", ""),
            firmware=said.get("firmware", ""),
            protocol=protocol,
            build=kind,
            channels=int(channels),
            can=frozenset(filter(None, said.get("can", "").split(","))),
            limits=said.get("limits", ""),
            fields=tuple(said.items()),
        )

    def _usual_timing(self) -> None:
        """Waiting times that an earlier session left behind are not this one's."""
        usual = (round(limit("release_us")), round(limit("fall_us")))
        said = dict(self.info.fields).get("timing")
        if said is not None and said != f"{usual[0]},{usual[1]}":
            self._ask(TimingFrame, "SCAN:TIM?", *usual)

    def _no_board(self, others: list[str]) -> BoardError:
        if not others:
            return BoardError(
                f"{self.address}: nothing answers to *IDN?",
                "Is this the board's port, its firmware installed? `loomwright board list` asks every port.",
                code="link",
            )
        return BoardError(
            f"{self.address}: what answers is no Loomwright board: {others[0]!r}",
            "Another device, another program on the same port, or a damaged line: `loomwright board list`.",
            code="link",
        )

    def _ask(self, kind: type[F], header: str, *arguments: Argument, body_most: int = 1024) -> F:
        with self._talk.within(SLICE_S):
            frame = self._talk.ask(header, *arguments, body_most=body_most)
        if not isinstance(frame, kind):
            raise BoardError(f"{self.address}: {header} was answered by a {type(frame).__name__}", code="protocol")
        return frame

    def _held(self, refused: BoardRefused) -> BoardRefused:
        """A refusal for the reason that another holds the board gets that name."""
        if refused.number != -221:
            return refused
        hint = "Another program is using this board: end it."
        return BoardRefused(self.address, refused.number, refused.text, hint, "lease")

    def _give_back(self) -> None:
        if self._lease_s:
            self._lapse()
            self._ask(LeaseFrame, "SYST:LEAS?", self._nonce, 0)
            self._lease_s = 0.0

    def _take_lease(self) -> None:
        self._talk.lost_lease()
        try:
            granted = self._ask(LeaseFrame, "SYST:LEAS?", self._nonce, LEASE_MS).granted_ms
        except BoardRefused as refused:
            raise self._held(refused) from refused
        self._lease_s = granted / 1000
        self._lease_until = self._talk.sent_at + self._lease_s

    def _lapse(self) -> None:
        """The lease is gone, or as good as; what was checked under it is void."""
        self._lease_until = 0.0
        self._checked.clear()

    def _renew(self) -> None:
        """Hold the lease for some time more, or take a new one."""
        now = self._wire.tick()
        if self._talk.lost_lease() or now >= self._lease_until:
            self._lapse()
            self._leases += 1
            self._take_lease()
        elif self._lease_until - now < RENEW_S:
            self._take_lease()

    def _arm(self, channels: Iterable[int]) -> None:
        """Lease held, and no voltage seen on any of these channels since it was taken."""
        self._renew()
        unchecked = sorted(set(channels) - self._checked)
        if unchecked and "voltage" in self.info.can:
            self._refuse_live(self.voltage(unchecked))
            self._renew()

    def _refuse_live(self, frame: VoltageFrame) -> None:
        live = frame.live()
        if live:
            listed = ", ".join(f"{channel} {volts:+.2f} V" for channel, volts in live)
            raise BoardError(
                f"{self.address}: voltage present, nothing was driven: channel {listed}",
                VOLTAGE_HINT,
                code="voltage",
            )

    def _leased(
        self, arm: Callable[[], None], kind: type[F], header: str, *arguments: Argument, body_most: int = 1024
    ) -> F:
        """Ask what needs the lease. `arm` makes ready, again when the lease ran out while a reply was repeated."""
        with self._talk.within(SLICE_S):
            return self._leased_now(arm, kind, header, *arguments, body_most=body_most)

    def _leased_now(
        self, arm: Callable[[], None], kind: type[F], header: str, *arguments: Argument, body_most: int
    ) -> F:
        for left in reversed(range(ARMINGS)):
            arm()
            try:
                frame = self._ask(kind, header, *arguments, body_most=body_most)
            except BoardRefused as refused:
                lost = refused.number == -221 and re.search("no lease|not checked", refused.text)
                paused = refused.number == -240 and "paused" in refused.text
                if left and (lost or paused):
                    self._lapse()
                elif refused.number == -240 and re.search(r"\d V on channel", refused.text):
                    raise BoardRefused(self.address, refused.number, refused.text, VOLTAGE_HINT, "voltage") from refused
                else:
                    raise
            else:
                self._lease_until = self._talk.sent_at + self._lease_s  # each success prolongs the lease
                return frame
        raise AssertionError("the last arming returns or raises")

    def _sliced(
        self,
        kind: type[F],
        items: Sequence[object],
        request: Callable[[tuple[object, ...]], tuple[object, ...]],
        body: Callable[[int], int],
        *,
        arm: Callable[[], None],
        most: int = SLICE,
        progress: Progress | None = None,
    ) -> F:
        """Ask for `items` slice by slice, and join the frames. A slice that the board finds too long is halved."""
        parts: list[Frame] = []
        size, done = min(most, SLICE), 0
        while done < len(items) or not parts:
            part = tuple(items[done : done + size])
            header, *arguments = request(part)
            try:
                asked = cast(list[Argument], arguments)
                parts.append(self._leased(arm, kind, str(header), *asked, body_most=body(len(part))))
            except BoardRefused as refused:
                if refused.number != -222 or size == 1 or len(part) == 1:
                    raise
                size = max(1, min(size, len(part)) // 2)
                continue
            done += len(part)
            if progress:
                progress(done, len(items))
        return cast(F, codec.join(parts))
