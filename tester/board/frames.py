"""What the board's replies mean, as values. Each frame keeps the raw payloads and the requests it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tester.board.limits import limit

LEASE_HELD, ARMED, DRIVING, CALIBRATED, ERROR_QUEUED = 1, 2, 4, 8, 16


@dataclass(frozen=True)
class Frame:
    """One reply, or several slices of one question joined.

    seq      sequence number of the (last) request
    ms       the board's clock when it answered, milliseconds modulo 2**32
    state    bits: 1 lease held, 2 armed, 4 a channel is driven, 8 calibrated, 16 an error is queued
    raw      payloads as they came, one for each slice
    requests the request of each, without line end
    nonces   the session number that stood in the check sum of each
    """

    seq: int
    ms: int
    state: int
    raw: tuple[bytes, ...]
    requests: tuple[bytes, ...]
    nonces: tuple[int, ...]


@dataclass(frozen=True)
class SyncFrame(Frame):
    """Kind Y. The nonce comes back; `major.minor` is the board's protocol version."""

    nonce: int
    major: int
    minor: int


@dataclass(frozen=True)
class LeaseFrame(Frame):
    """Kind L. Milliseconds of silence after which the board lets everything go; 0 when given back."""

    granted_ms: int


@dataclass(frozen=True)
class StateFrame(Frame):
    """Kind S. What the board says of itself, as `name=value`."""

    fields: Mapping[str, str]


@dataclass(frozen=True)
class ErrorFrame(Frame):
    """Kind E. The request was understood and not done: SCPI error number and the board's words."""

    number: int
    text: str


@dataclass(frozen=True)
class WalkFrame(Frame):
    """Kind W. Each channel of `drive` pulled low in turn; bit i of its row is set where `read[i]` was LOW."""

    drive: tuple[int, ...]
    read: tuple[int, ...]
    rows: tuple[int, ...]


@dataclass(frozen=True)
class PatternFrame(Frame):
    """Kind P. All channels of `driven[k]` pulled low together; bit i of row k is set where `read[i]` was LOW."""

    read: tuple[int, ...]
    driven: tuple[tuple[int, ...], ...]
    rows: tuple[int, ...]


@dataclass(frozen=True)
class TimingFrame(Frame):
    """Kind T. Microseconds of active release, and from driving low to reading."""

    release_us: int
    fall_us: int


@dataclass(frozen=True)
class DriverFrame(Frame):
    """Kind D. Self-check of each channel: flag bit 0 reads low when driven low, bit 1 high after release."""

    channels: tuple[int, ...]
    flags: tuple[int, ...]

    def weak(self) -> tuple[int, ...]:
        """Channels that do not pull themselves low: the board is at fault."""
        return tuple(c for c, flag in zip(self.channels, self.flags, strict=True) if not flag & 1)

    def stuck(self) -> tuple[int, ...]:
        """Channels that stay low with nothing driven: grounded from outside, or a driver that does not let go."""
        return tuple(c for c, flag in zip(self.channels, self.flags, strict=True) if not flag & 2)


@dataclass(frozen=True)
class VoltageFrame(Frame):
    """Kind V. Millivolts of each channel against board ground, with the pull-up rail low and high."""

    channels: tuple[int, ...]
    low_mv: tuple[int, ...]
    high_mv: tuple[int, ...]

    def live(self) -> list[tuple[int, float]]:
        """Channels that carry a voltage from outside, with volts. Rule: `hwspec/limits.toml`, deck "voltage".

        A channel that hardly moves with the rail is held by something; held away from ground it is live. A floating
        source (a battery left in, no ground) shows as a level that the low rail cannot give.
        """
        high, low = limit("voltage_high_v"), limit("voltage_low_v")
        held_below, floating = limit("held_difference_v"), limit("floating_high_v")
        found = []
        for channel, at_low, at_high in zip(self.channels, self.low_mv, self.high_mv, strict=True):
            volts = at_low / 1000
            held = abs(at_high - at_low) / 1000 < held_below
            if (held and volts > high) or volts < low or volts > floating:
                found.append((channel, volts))
        return found

    def grounded(self) -> tuple[int, ...]:
        """Channels held near 0 V from outside (chassis, another device): worth a warning, safe to drive."""
        held_below, live = limit("held_difference_v"), {channel for channel, _ in self.live()}
        return tuple(
            channel
            for channel, at_low, at_high in zip(self.channels, self.low_mv, self.high_mv, strict=True)
            if abs(at_high - at_low) / 1000 < held_below and channel not in live
        )


@dataclass(frozen=True)
class OffFrame(Frame):
    """Kind O. Every channel released, the board disarmed."""
