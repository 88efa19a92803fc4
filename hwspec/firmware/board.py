"""One board: its parts put together, and what concerns all of them."""

from .analog import AIN_REFERENCE, PGA_0256
from .bench import Bench
from .block import ARMED, CALIBRATED, DRIVEN, ERROR_QUEUED, LEASE_HELD
from .errors import ScpiError
from .expander import Expanders
from .guard import Guard
from .limits import FALL_US, LEASE_MAX_MS, LEASE_MIN_MS, RELEASE_US
from .pins import Pins
from .programme import Programme
from .safety import Safety
from .scan import Scanner
from .status import Status
from .version import FIRMWARE, LIMITS, MAKER, MODELS, PROTOCOL_MAJOR, PROTOCOL_MINOR
from .watch import Watch

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


class Board:
    """Everything behind the commands."""

    def __init__(self, hal: "Hal", programme: Programme) -> None:
        self.hal = hal
        self.full = hal.build == "full"
        self.status = Status()
        self.guard = Guard(hal)
        self.driver: Expanders | Pins
        self._bench: Bench | None = None
        if self.full:
            expanders = Expanders(hal, self.guard)
            self.driver = expanders
            self.safety = Safety(expanders.channels, True)
            self.scanner = Scanner(expanders, programme)
            self._bench = Bench(hal, self.guard, expanders, self.safety, self.scanner)
        else:
            self.driver = Pins(hal, self.guard)
            self.safety = Safety(hal.pins, False)
            self.scanner = Scanner(self.driver, programme)
        self.watch = Watch(hal, self.guard, self.driver, self.scanner)
        self.channels = self.driver.channels
        self.serial = "".join(["%02X" % b for b in hal.unique_id()])
        self.nonce = 0
        self.root = getattr(hal, "root", "")
        self.restart_wanted = False

    def identity(self) -> str:
        """*IDN?"""
        return ",".join([MAKER, MODELS[self.hal.build], self.serial, FIRMWARE])

    def state_text(self) -> str:
        """Body of SYSTem:STATe?: what this board is and can do."""
        can = "scan,voltage,resistance,isolation,watch" if self.full else "scan,watch"
        return ";".join(
            [
                "build=" + self.hal.build,
                "channels=%d" % self.channels,
                "cards=%d" % (self.hal.cards if self.full else 0),
                "can=" + can,
                "serial=" + self.serial,
                "firmware=" + FIRMWARE,
                "protocol=%d.%d" % (PROTOCOL_MAJOR, PROTOCOL_MINOR),
                "limits=%d" % LIMITS,
                "timing=%d,%d" % (self.scanner.release_us, self.scanner.fall_us),
            ]
        )

    def state_bits(self) -> int:
        """State byte of a reply."""
        return (
            (LEASE_HELD if self.guard.held else 0)
            | (ARMED if not self.guard.doubt else 0)
            | (DRIVEN if self.watch.running else 0)
            | (CALIBRATED if self._bench and self._bench.calibration.valid else 0)
            | (ERROR_QUEUED if len(self.status.errors) else 0)
        )

    def channels_ok(self, channels: "list[int]") -> None:
        """Every channel exists (-222) and is named once (-224)."""
        seen = bytearray(self.channels + 1)
        for i in range(len(channels)):
            c = channels[i]
            if not i & 31:
                self.breathe()
            if not 1 <= c <= self.channels:
                raise ScpiError(-222, "channel %d: not 1 to %d" % (c, self.channels))
            if seen[c]:
                raise ScpiError(-224, "channel %d twice" % c)
            seen[c] = 1

    def may_drive(self, driven: "list[int]") -> None:
        """The channels exist, no voltage was seen, each was checked. Raises -221, -222, -224, -240."""
        self.channels_ok(driven)
        self.guard.pump()
        self.safety.require(driven)

    def bench(self) -> Bench:
        """The measuring part. Raises -221 on a board that has none."""
        if self._bench is None:
            raise ScpiError(-221, "this board cannot measure")
        return self._bench

    def self_test(self) -> str:
        """*TST?: what fails without driving anything, "" when nothing does."""
        if self._bench is None:
            return ""
        if not self.hal.cards:
            return "no card answers"
        try:
            self._bench.meter.converter.sample(AIN_REFERENCE, PGA_0256)
        except ScpiError as error:
            return error.detail
        return ""

    def sync(self, nonce: int) -> None:
        """Begin a session. Raises -221 while another session holds the lease."""
        if self.guard.held and nonce != self.guard.holder:
            raise ScpiError(-221, "lease held by another host")
        self.nonce = nonce

    def lease(self, nonce: int, ms: int) -> int:
        """Take, prolong or (0) give back the lease; milliseconds granted. Raises -221, -222, -240."""
        if self.guard.held and nonce != self.guard.holder:
            raise ScpiError(-221, "lease held by another host")
        if ms == 0:
            self.drop()
            return 0
        if not LEASE_MIN_MS <= ms <= LEASE_MAX_MS:
            raise ScpiError(-222, "%d ms: not %d to %d" % (ms, LEASE_MIN_MS, LEASE_MAX_MS))
        if not self.guard.held:
            self.safety.forget()
        self.guard.grant(nonce, ms)
        try:
            if not self.watch.running:
                self.driver.ready()
        except ScpiError:
            self.drop()
            raise
        self.guard.renew()
        return ms

    def off(self) -> None:
        """Everything released, pump stopped; the lease stays."""
        self.watch.stop()
        self.driver.release()
        if self._bench:
            self._bench.meter.rest()
        self.guard.pumping = False
        self.guard.doubt = True

    def drop(self) -> None:
        """Everything released, pump stopped, lease gone."""
        self.off()
        self.guard.drop()
        self.safety.forget()

    def reset(self) -> None:
        """*RST: off, and the waiting times of power-on."""
        self.off()
        self.scanner.set_timing(RELEASE_US, FALL_US)

    def breathe(self) -> None:
        """Between two pieces of other work: the pump, and one reading of a running watch."""
        self.guard.pump()
        self.watch.breathe()

    def service(self) -> None:
        """Pump, clock, end of lease: each turn of the main loop, before each query, between pieces of a reply."""
        self.guard.pump()
        self.guard.milliseconds()
        if self.guard.expired():
            self.drop()
