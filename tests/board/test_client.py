"""The client against lists of (request, reply) pairs; the pairs come from the tables of hwspec/protocol.md, by hand."""

import struct

import pytest

from tester.board.client import Board
from tester.board.exchange import ATTEMPTS, REPLY_S, BoardRefused
from tester.errors import BoardError
from tests.support.pairs import STATE, Clock, PairLink, answer, block, opening, payload, seq_of


def channels_in(text: bytes) -> list[int]:
    """Channels of `(@1:3,7)`, read here by hand."""
    spans = [part.split(b":") for part in text.strip(b"(@)").split(b",")]
    return [channel for span in spans for channel in range(int(span[0]), int(span[-1]) + 1)]


def volts(line: bytes) -> bytes:
    """Floating channels: 10 mV with the rail low, 3.1 V with it high."""
    count = len(channels_in(line.split(b",", 1)[1]))
    return struct.pack("<H", count) + struct.pack("<hh", 10, 3100) * count


def opened(*more, state: bytes = STATE) -> tuple[Board, PairLink]:
    link = PairLink([*opening(state), *more])
    return Board.open("pairs", link=link, clock=link.clock), link


def walk_rows(line: bytes) -> bytes:
    """Every driven channel low alone."""
    drive, read = (channels_in(part) for part in line.split(b" ")[1].split(b",(")[1:])
    width = (len(read) + 7) // 8
    rows = [sum(1 << i for i, channel in enumerate(read) if channel == driven) for driven in drive]
    return struct.pack("<HH", len(read), len(drive)) + b"".join(row.to_bytes(width, "little") for row in rows)


def test_opening_asks_and_reports_who_the_board_is():
    board, link = opened()
    assert not link.left
    assert (board.info.model, board.info.serial, board.info.channels) == ("Scanboard Full", "A1", 64)
    assert board.info.protocol == "1.0"
    assert board.info.can == {"scan", "voltage", "resistance", "isolation", "watch"}


def test_a_damaged_identity_line_does_not_change_who_the_board_is():
    link = PairLink([(b"*IDN?", b"Loomwright,Scanboard Fullll,A2,0.1.9\n"), *opening()[1:]])
    info = Board.open("pairs", link=link, clock=link.clock).info
    assert (info.model, info.serial, info.firmware) == ("Scanboard Full", "A1", "0.1.0")


def test_old_bytes_before_opening_are_thrown_away():
    link = PairLink(opening())
    link.waiting += b'0,"No error"\n#3999' + bytes(40)
    board = Board.open("pairs", link=link, clock=link.clock)
    assert board.info.channels == 64
    assert not board.troubles.any


def test_a_port_where_nothing_answers_is_one_clear_error_in_bounded_time():
    link = PairLink([(b"*IDN?", b"")] * ATTEMPTS)
    start = link.clock.now
    with pytest.raises(BoardError, match=r"pairs: nothing answers to \*IDN\?") as caught:
        Board.open("pairs", link=link, clock=link.clock)
    assert caught.value.code == "link"
    assert link.closed
    assert link.clock.now - start < ATTEMPTS * REPLY_S + 1


@pytest.mark.parametrize("noise", [b"\xff\x00\x13" * 500, b"AT\r\nOK\r\n", b"*IDN?\n", b"Acme,Meter,1,2\n", b"#9"])
def test_a_port_that_answers_garbage_is_one_clear_error_in_bounded_time(noise: bytes):
    link = PairLink([(b"*IDN?", noise)] * ATTEMPTS)
    with pytest.raises(BoardError, match="what answers is no Loomwright board"):
        Board.open("pairs", link=link, clock=link.clock)
    assert link.closed


def test_a_port_that_never_stops_talking_is_left_in_bounded_time():
    clock = Clock()

    class Flood:
        address = "flood"
        closed = False

        def write(self, data: bytes) -> None:
            pass

        def read(self, timeout_s: float) -> bytes:
            clock.now += 0.01
            return b"tick\n\xff#3020" * 30

        def close(self) -> None:
            self.closed = True

    link = Flood()
    start = clock.now
    with pytest.raises(BoardError, match="no Loomwright board"):
        Board.open("flood", link=link, clock=clock)
    assert clock.now - start < 5
    assert link.closed


def test_another_protocol_version_is_refused_with_both_numbers():
    pairs = opening()
    pairs[2] = (None, answer("Y", lambda line: struct.pack("<IBB", int(line.split(b",")[1]), 2, 3)))
    link = PairLink(pairs[:3])
    with pytest.raises(BoardError, match=r"speaks protocol 2\.3, this program 1\.x") as caught:
        Board.open("pairs", link=link, clock=link.clock)
    assert caught.value.code == "protocol"
    assert link.closed


def test_another_holder_of_the_lease_is_named_as_such():
    pairs = opening()
    pairs[4] = (None, answer("E", struct.pack("<h", -221) + b"Settings conflict;lease held by another"))
    link = PairLink(pairs)
    with pytest.raises(BoardRefused, match="-221, settings conflict: lease held by another") as caught:
        Board.open("pairs", link=link, clock=link.clock)
    assert (caught.value.number, caught.value.code) == (-221, "lease")


def test_nothing_is_driven_before_its_channels_were_checked_for_voltage():
    board, link = opened((None, answer("V", volts)), (None, answer("W", walk_rows)))
    frame = board.walk((1, 2, 5), (1, 2, 5, 9))
    assert frame.rows == (1, 2, 4)
    assert link.sent[-2].startswith(b"MEAS:VOLT?") and link.sent[-2].endswith(b",(@1,2,5,9)")
    assert link.sent[-1].endswith(b"(@1,2,5),(@1,2,5,9)")


def test_a_voltage_stops_before_anything_is_driven():
    live = struct.pack("<H", 2) + struct.pack("<hh", 10, 3100) + struct.pack("<hh", 3970, 3970)
    board, link = opened((None, answer("V", live)))
    with pytest.raises(BoardError, match=r"voltage present, nothing was driven: channel 64 \+3\.97 V") as caught:
        board.walk((1,), (1, 64))
    assert caught.value.code == "voltage"
    assert not any(line.startswith(b"SCAN:WALK") for line in link.sent)


def test_a_damaged_reply_is_asked_for_again_under_a_new_number():
    def damaged(line: bytes, nonce: int) -> bytes:
        raw = bytearray(block(payload("W", seq_of(line), line, walk_rows(line), nonce=nonce)))
        raw[15] ^= 0x40
        return bytes(raw)

    board, link = opened((None, answer("V", volts)), (None, damaged), (None, answer("W", walk_rows)))
    start = link.clock.now
    assert board.walk((1, 3), (1, 3)).rows == (1, 2)
    first, second = (seq_of(line) for line in link.sent[-2:])
    assert second == (first + 1) & 0xFFFF
    assert board.troubles.damaged == 1
    assert link.clock.now - start < 0.5  # a damaged reply costs no time-out


@pytest.mark.parametrize(
    "wrong",
    [
        lambda line, n: block(payload("W", (seq_of(line) - 1) & 0xFFFF, line, walk_rows(line), nonce=n)),  # late
        lambda line, n: block(payload("W", seq_of(line), line, walk_rows(line), nonce=n))[:-9],  # short
        lambda line, n: b"",  # nothing at all
        lambda line, n: b'-113,"Undefined header"\n',  # text where a block belongs
    ],
)
def test_a_reply_that_is_not_the_answer_is_never_taken_for_it(wrong):
    board, _ = opened((None, answer("V", volts)), (None, wrong), (None, answer("W", walk_rows)))
    assert board.walk((1, 3), (1, 3)).rows == (1, 2)
    assert board.troubles.any


@pytest.mark.parametrize(
    "wrong",
    [
        lambda line, n: block(payload("W", seq_of(line), line + b" ", walk_rows(line), nonce=n)),  # other bytes arrived
        lambda line, n: block(payload("W", seq_of(line), line, walk_rows(line), nonce=n ^ 1)),  # another session
        lambda line, n: block(payload("W", seq_of(line), line, walk_rows(line), nonce=0)),  # the board restarted
    ],
)
def test_a_reply_of_another_session_or_request_makes_the_client_begin_the_session_again(wrong):
    sync = answer("Y", lambda line: struct.pack("<IBB", int(line.split(b",")[1]), 1, 0))
    every = tuple(range(1, 65))  # 64 rows of 64 channels are a longer block than a session begin may have
    checked = [(None, answer("V", volts))] * 2
    board, link = opened(*checked, (None, wrong), (None, sync), (None, answer("W", walk_rows)))
    nonce = link.nonce
    assert board.walk(every, every).rows == tuple(1 << k for k in range(64))
    assert link.nonce == nonce
    assert board.troubles.damaged == 1


def test_a_board_that_a_dead_session_still_holds_is_waited_for_half_a_second():
    held = answer("E", struct.pack("<h", -221) + b"Settings conflict;lease held by another host")
    foreign = lambda line, nonce: held(line, nonce ^ 99)  # noqa: E731 - salted by the number of the dead session
    pairs = opening()
    link = PairLink([*pairs[:2], (None, foreign), (None, foreign), *pairs[2:]])
    board = Board.open("pairs", link=link, clock=link.clock)
    assert board.info.channels == 64
    assert not link.left


def test_a_board_that_another_program_keeps_is_refused_after_that():
    held = answer("E", struct.pack("<h", -221) + b"Settings conflict;lease held by another host")
    link = PairLink([*opening()[:2], *[(None, lambda line, nonce: held(line, nonce ^ 99))] * 30])
    with pytest.raises(BoardRefused, match="lease held by another host") as caught:
        Board.open("pairs", link=link, clock=link.clock)
    assert caught.value.code == "lease"
    assert "end it" in caught.value.hint


def test_a_doubled_reply_is_taken_once():
    def doubled(line: bytes, nonce: int) -> bytes:
        return block(payload("W", seq_of(line), line, walk_rows(line), nonce=nonce)) * 2

    board, _ = opened((None, answer("V", volts)), (None, doubled), (None, answer("W", walk_rows)))
    assert board.walk((1, 3), (1, 3)).rows == (1, 2)
    assert board.walk((3, 1), (3, 1)).rows == (1, 2)
    assert board.troubles.strangers == 1


def test_no_sound_answer_ends_in_an_error_within_the_stated_time():
    board, link = opened((None, answer("V", volts)), *[(None, b"")] * ATTEMPTS)
    start = link.clock.now
    with pytest.raises(BoardError, match=r"no sound answer to SCAN:WALK\? in 3 attempts: nothing came") as caught:
        board.walk((1,), (1,))
    assert caught.value.code == "link"
    assert link.clock.now - start <= ATTEMPTS * (REPLY_S + 0.1)


def test_errors_of_the_board_keep_number_and_words():
    board, _ = opened((None, answer("E", struct.pack("<h", -224) + b"Illegal parameter value;release 9000")))
    with pytest.raises(BoardRefused) as caught:
        board.timing(9000, 60)
    assert (caught.value.number, caught.value.text, caught.value.code) == (-224, "release 9000", "refused")
    assert caught.value.message == "pairs: the board refuses: -224, illegal parameter value: release 9000"


def test_a_lease_that_ran_out_is_taken_again_with_a_new_voltage_check():
    board, link = opened(
        (None, answer("V", volts)),
        (None, answer("E", struct.pack("<h", -221) + b"no lease")),
        (None, answer("L", struct.pack("<H", 500))),
        (None, answer("V", volts)),
        (None, answer("W", walk_rows)),
    )
    assert board.walk((1,), (1,)).rows == (1,)
    assert not link.left


def test_the_lease_is_renewed_while_it_is_used_and_checked_again_after_a_pause():
    board, link = opened(
        (None, answer("V", volts)),
        (None, answer("W", walk_rows)),
        (None, answer("L", struct.pack("<H", 500))),  # 0.35 s later: renewed, no new check
        (None, answer("W", walk_rows)),
        (None, answer("L", struct.pack("<H", 500))),  # 2 s later: a new lease, a new check
        (None, answer("V", volts)),
        (None, answer("W", walk_rows)),
    )
    board.walk((1,), (1,))
    link.clock.now += 0.35
    board.walk((1,), (1,))
    link.clock.now += 2.0
    board.walk((1,), (1,))
    assert not link.left


def test_a_board_that_restarted_is_noticed_by_its_clock_and_checked_again():
    board, link = opened(
        (None, answer("V", volts)),
        (None, answer("W", walk_rows, ms=5)),  # its clock ran backwards
        (None, answer("Y", lambda line: struct.pack("<IBB", int(line.split(b",")[1]), 1, 0), ms=6, state=0)),
        (None, answer("E", struct.pack("<h", -221) + b"no lease", ms=7, state=0)),
        (None, answer("L", struct.pack("<H", 500), ms=8)),
        (None, answer("V", volts, ms=9)),
        (None, answer("W", walk_rows, ms=10)),
    )
    assert board.walk((1,), (1,)).rows == (1,)
    assert board.troubles.restarts == 1
    assert not link.left


def test_a_slice_that_the_board_finds_too_long_is_halved_and_progress_told():
    board, _ = opened(
        (None, answer("V", volts)),
        (None, answer("E", struct.pack("<h", -222) + b"slice of 320 ms")),
        (None, answer("W", walk_rows)),
        (None, answer("W", walk_rows)),
    )
    told = []
    channels = (1, 3, 5, 7)
    frame = board.walk(channels, channels, progress=lambda done, total: told.append((done, total)))
    assert frame.rows == (1, 2, 4, 8) and frame.drive == channels
    assert len(frame.raw) == 2
    assert told == [(2, 4), (4, 4)]


def test_closing_releases_gives_the_lease_back_and_is_quiet_when_the_link_is_dead():
    board, link = opened((None, answer("O")), (None, answer("L", struct.pack("<H", 0))))
    board.close()
    board.close()
    assert link.closed and not link.left
    assert link.sent[-1].endswith(b",0")
    board, link = opened()
    link.closed = True
    with pytest.raises(BoardError):
        board.state()
    board.off()  # a dead link releases by itself
    board.close()


def test_patterns_come_back_row_by_row():
    body = struct.pack("<HH", 3, 2) + b"\x03\x04"
    board, link = opened((None, answer("V", volts)), (None, answer("P", body)))
    frame = board.patterns((1, 2, 3), [(1,), (3,)])
    assert (frame.read, frame.driven, frame.rows) == ((1, 2, 3), ((1,), (3,)), (3, 4))
    assert link.sent[-1].endswith(b",(@1:3),(@1),(@3)")
