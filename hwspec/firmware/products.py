"""The product queries: what each needs, and what its parameters do (hwspec/protocol.md section 3)."""

from binascii import a2b_base64

from .block import Reply
from .board import Board
from .compat import heap
from .errors import ScpiError
from .installer import Installer, UpdateError
from .version import PROTOCOL_MAJOR, PROTOCOL_MINOR

NONCE_MAX = 0xFFFFFFFF


class Products:
    """Functions of the product queries; each appends its body to the reply."""

    def __init__(self, board: Board, reply: Reply) -> None:
        self.board = board
        self.reply = reply
        self.installer = Installer(board.root, board.hal.idle)

    def sync(self, nonce: int) -> None:
        """SYSTem:SYNC?"""
        self._nonce_ok(nonce)
        self.board.sync(nonce)
        self.reply.u32(nonce)
        self.reply.u8(PROTOCOL_MAJOR)
        self.reply.u8(PROTOCOL_MINOR)

    def lease(self, nonce: int, ms: int) -> None:
        """SYSTem:LEASe?"""
        self._nonce_ok(nonce)
        self.reply.u16(self.board.lease(nonce, ms))

    def _nonce_ok(self, nonce: int) -> None:
        if not 0 <= nonce <= NONCE_MAX:
            raise ScpiError(-222, "nonce")

    def state(self) -> None:
        """SYSTem:STATe?"""
        self.reply.raw(self.board.state_text().encode())

    def timing(self, *times: int) -> None:
        """SCAN:TIMing?"""
        scanner = self.board.scanner
        if len(times) == 1:
            raise ScpiError(-109, "fall time")
        if times:
            scanner.set_timing(times[0], times[1])
        self.reply.u32(scanner.release_us)
        self.reply.u32(scanner.fall_us)

    def walk(self, drive: "list[int]", read: "list[int]") -> None:
        """SCAN:WALK?"""
        self.board.channels_ok(read)
        self.board.may_drive(drive)
        self.board.scanner.walk(drive, read, self.reply)

    def patterns(self, read: "list[int]", *driven: "list[int]") -> None:
        """SCAN:PATTern?"""
        self.board.channels_ok(read)
        for channels in driven:
            self.board.may_drive(channels)
        self.board.scanner.patterns(read, list(driven), self.reply)

    def drivers(self, channels: "list[int]") -> None:
        """DIAGnostic:DRIVer?"""
        self.board.may_drive(channels)
        self.board.scanner.drivers(channels, self.reply)

    def off(self) -> None:
        """OUTPut:OFF?"""
        self.board.off()

    def voltage(self, channels: "list[int]") -> None:
        """MEASure:VOLTage?"""
        self.board.channels_ok(channels)
        self.board.bench().meter.voltage(channels, self.reply)

    def resistance(self, a: int, b: int, pga: int = 0, samples: int = 2) -> None:
        """MEASure:RESistance?"""
        self.board.may_drive([a, b])
        self.board.bench().ohmmeter.resistance(a, b, pga, samples, self.reply)

    def isolation(self, y: int, others: "list[int]", samples: int = 4) -> None:
        """MEASure:ISOLation?"""
        self.board.may_drive([y] + others)
        self.board.bench().ohmmeter.isolation(y, others, samples, self.reply)

    def watch_load(self, read: "list[int]", *driven: "list[int]") -> None:
        """WATCh:LOAD?"""
        self.board.channels_ok(read)
        for channels in driven:
            self.board.channels_ok(channels)
        self.board.watch.load(read, list(driven), self.reply)

    def watch_start(self, every: int = 0, how: int = 0) -> None:
        """WATCh:STARt?"""
        watch = self.board.watch
        if not watch.patterns:
            raise ScpiError(-221, "no patterns loaded")
        for pattern in watch.patterns:
            self.board.may_drive(pattern.driven)
        watch.start(every, how, self.reply)

    def watch_log(self, first: int) -> None:
        """WATCh:LOG?"""
        self.board.watch.log(first, self.reply)

    def watch_stop(self) -> None:
        """WATCh:STOP?"""
        self.board.watch.stop()
        self.board.watch.summary(self.reply)

    def self_test(self, part: int, card: int = 1) -> None:
        """DIAGnostic:SELF?"""
        selftest = self.board.bench().selftest
        channels = selftest.channels(part, card)
        if channels:
            self.board.may_drive(channels)
        selftest.run(part, card, self.reply)

    def heap(self) -> None:
        """DIAGnostic:HEAP?"""
        free, used = heap()
        self.reply.u32(free)
        self.reply.u32(used)

    def cal_reference(self, a: int, b: int, milliohm: int) -> None:
        """CALibration:REFerence?"""
        self.board.may_drive([a, b])
        self.board.bench().calibrator.reference(a, b, milliohm, self.reply)

    def cal_zero(self, channels: "list[int]") -> None:
        """CALibration:ZERO?"""
        self.board.may_drive(channels)
        self.board.bench().calibrator.zero(channels, self.reply)

    def cal_baseline(self, channels: "list[int]", others: "list[int]") -> None:
        """CALibration:BASeline?"""
        self.board.channels_ok(channels)
        self.board.may_drive(others)
        self.board.safety.require(channels)
        self.board.bench().calibrator.baseline(channels, others, self.reply)

    def cal_save(self, date: str) -> None:
        """CALibration:SAVE?"""
        self.board.bench().calibration.save(date)
        self.reply.raw(b"\x04\x00")

    def cal_data(self) -> None:
        """CALibration:DATA?"""
        self.reply.u8(5)
        self.board.bench().calibration.data(self.reply)

    def cal_clear(self) -> None:
        """CALibration:CLEar?"""
        self.board.bench().calibration.clear()
        self.reply.raw(b"\x06\x00")

    def update_begin(self, wanted: str) -> None:
        """UPDate:BEGin?"""
        slot, resumed = self.installer.begin(wanted)
        self._updated(ord(slot), 1 if resumed else 0)

    def update_file(self, name: str, digest: str, size: int) -> None:
        """UPDate:FILE?"""
        try:
            self._updated(0, self.installer.file(name, digest, size))
        except UpdateError as error:
            raise ScpiError(-224, str(error)) from None

    def update_data(self, name: str, offset: int, coded: str) -> None:
        """UPDate:DATA?"""
        try:
            data = a2b_base64(coded)
        except ValueError:
            raise ScpiError(-104, "not base64") from None
        try:
            self._updated(0, self.installer.data(name, offset, data))
        except UpdateError as error:
            raise ScpiError(-221, str(error)) from None

    def update_commit(self) -> None:
        """UPDate:COMMit?"""
        try:
            self._updated(0, self.installer.commit())
        except UpdateError as error:
            raise ScpiError(-221, str(error)) from None

    def update_start(self) -> None:
        """UPDate:STARt?: the main loop restarts the processor once the reply is out."""
        self.board.restart_wanted = True
        self._updated(0, 0)

    def _updated(self, slot: int, value: int) -> None:
        self.reply.u8(slot)
        self.reply.raw(bytes(3))
        self.reply.u32(value)
