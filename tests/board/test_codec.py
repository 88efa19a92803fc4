"""Payloads to frames, and every way in which a payload is not what was asked for."""

import struct

import pytest

from tester.board import codec, frames, requests
from tests.support.pairs import payload


def test_check_sum_is_the_published_one():
    # CRC-32/ISO-HDLC check values, docs.rs wire-codec 1.2.0
    assert requests.crc32(b"123456789") == 0xCBF43926
    assert requests.crc32(b"") == 0


def test_channel_lists_read_and_write():
    assert requests.read_channel_list("(@1:3,7)") == (1, 2, 3, 7)  # SCPI-99 8.3.2
    assert requests.channel_list([1, 2, 3, 7]) == "(@1:3,7)"
    assert requests.channel_list([1, 2, 5, 4, 9, 10, 11, 12]) == "(@1,2,5,4,9:12)"
    assert requests.channel_list(range(1, 257)) == "(@1:256)"
    assert requests.read_channel_list("(@5:3)") == (5, 4, 3)
    for wrong in ("(@1:)", "1,2", "(@1;2)", "(@1:2:3)", "(@x)", "(@)"):
        with pytest.raises(ValueError, match="not a channel list"):
            requests.read_channel_list(wrong)
    with pytest.raises(ValueError, match="no board has"):
        requests.read_channel_list("(@1:257)")


def test_requests_are_plain_lines_with_their_number():
    request = requests.build("SCAN:PATT?", 9, (1, 2, 3), (1,), (2, 3))
    assert request.line == b"SCAN:PATT? 9,(@1:3),(@1),(@2,3)\n"
    assert requests.arguments_of(request.unit) == ("9", (1, 2, 3), (1,), (2, 3))
    with pytest.raises(ValueError, match="no channels"):
        requests.build("DIAG:DRIV?", 1, ())


WALK = b"SCAN:WALK? 7,(@1:3),(@1:9)"
CASES = [
    (b"SYST:SYNC? 1,99", "Y", struct.pack("<IBB", 99, 1, 0), {"nonce": 99, "major": 1, "minor": 0}),
    (b"SYST:LEAS? 1,99,500", "L", struct.pack("<H", 500), {"granted_ms": 500}),
    (b"SYST:STAT? 1", "S", b"build=full;channels=64", {"fields": {"build": "full", "channels": "64"}}),
    (WALK, "W", struct.pack("<HH", 9, 3) + bytes([1, 0, 2, 1, 4, 0]), {"drive": (1, 2, 3), "rows": (1, 258, 4)}),
    (b"SCAN:PATT? 1,(@4,5),(@4),(@4,5)", "P", struct.pack("<HH", 2, 2) + b"\x01\x03",
     {"read": (4, 5), "driven": ((4,), (4, 5)), "rows": (1, 3)}),
    (b"SCAN:TIM? 1,40,60", "T", struct.pack("<II", 40, 60), {"release_us": 40, "fall_us": 60}),
    (b"DIAG:DRIV? 1,(@1,2)", "D", b"\x02\x00\x03\x02", {"channels": (1, 2), "flags": (3, 2)}),
    (b"MEAS:VOLT? 1,(@8)", "V", struct.pack("<Hhh", 1, -300, 12000),
     {"channels": (8,), "low_mv": (-300,), "high_mv": (12000,)}),
    (b"OUTP:OFF? 1", "O", b"", {}),
    (b"SCAN:WALK? 1,(@1),(@1)", "E", struct.pack("<h", -221) + b"no lease", {"number": -221, "text": "no lease"}),
]  # fmt: skip


@pytest.mark.parametrize(("unit", "kind", "body", "expected"), CASES, ids=[case[1] for case in CASES])
def test_each_kind_of_reply_becomes_its_frame(unit, kind, body, expected):
    raw = payload(kind, 1, unit, body, ms=77, state=3, nonce=5)
    frame = codec.decode(raw, unit, 5)
    assert (frame.ms, frame.state, frame.raw, frame.requests, frame.nonces) == (77, 3, (raw,), (unit,), (5,))
    for name, value in expected.items():
        assert getattr(frame, name) == value
    assert codec.rebuild(frame.raw, frame.requests, frame.nonces) == frame


@pytest.mark.parametrize(("unit", "kind", "body", "expected"), CASES, ids=[case[1] for case in CASES])
def test_a_body_that_is_too_long_or_too_short_is_refused(unit, kind, body, expected):
    if kind in "SE":
        return  # text, any length
    for wrong in (body + b"\0", body[:-1]) if body else (b"\0",):
        with pytest.raises(codec.Damaged):
            codec.decode(payload(kind, 1, unit, wrong), unit, 0)


def test_what_makes_a_payload_unbelievable_is_named():
    raw = payload("O", 1, b"OUTP:OFF? 1")
    assert codec.check(raw) is None
    assert codec.check(raw[:12]) == "a frame of 12 bytes; the shortest has 20"
    assert "check sum" in str(codec.check(raw[:-1] + b"\0"))
    for unit, nonce in ((b"OUTP:OFF? 2", 0), (b"OUTP:OFF? 1 ", 0), (b"OUTP:OFF? 1", 1)):
        with pytest.raises(codec.Damaged, match="of another session, or to another request"):
            codec.decode(raw, unit, nonce)
    with pytest.raises(codec.Damaged, match="unknown kind 'z'"):
        codec.decode(payload("z", 1, b"X? 1"), b"X? 1", 0)
    newer = b"\x02" + raw[1:-4]
    with pytest.raises(codec.Damaged, match="frame version 2; this program reads version 1"):
        codec.decode(newer + struct.pack("<I", requests.crc32(newer)), b"OUTP:OFF? 1", 0)


def test_bits_beyond_the_last_channel_and_other_counts_are_refused():
    for body in (struct.pack("<HH", 9, 3) + bytes([1, 2, 0, 0, 0, 0]), struct.pack("<HH", 8, 3) + bytes(6)):
        with pytest.raises(codec.Damaged):
            codec.decode(payload("W", 7, WALK, body), WALK, 0)


def test_a_reading_without_the_scale_of_its_counts_is_refused():
    ohms = struct.pack("<HHBBHIIIi", 1, 2, 1, 4, 0, 187_500_000, 62_500_000, 100_000, 0) + 3 * struct.pack(
        "<iiH", 9, 9, 1
    )
    leak = struct.pack("<HHBBHIIiii", 1, 1, 1, 4, 0, 62_500_000, 100_000, 9, 0, 0)
    for kind, unit, body, places in (
        ("M", b"MEAS:RES? 1,1,2,0,4", ohms, (8, 12, 16)),
        ("I", b"MEAS:ISOL? 1,1,(@2),4", leak, (8, 12)),
    ):
        codec.decode(payload(kind, 1, unit, body), unit, 0)
        for at in places:
            nothing = body[:at] + bytes(4) + body[at + 4 :]
            with pytest.raises(codec.Damaged, match="a scale or a reference of zero"):
                codec.decode(payload(kind, 1, unit, nothing), unit, 0)


def test_a_session_number_that_none_has_is_damage():
    raw, unit = payload("O", 1, b"OUTP:OFF? 1"), b"OUTP:OFF? 1"
    for nonce in (-1, 2**32, "0", 0.0, True, None):
        with pytest.raises(codec.Damaged, match="session number"):
            codec.rebuild([raw], [unit], [nonce])


def test_slices_join_into_one_frame_and_rebuild_from_stored_bytes():
    first, second = b"SCAN:WALK? 1,(@1,2),(@1:4)", b"SCAN:WALK? 2,(@3,4),(@1:4)"
    raw = [
        payload("W", 1, first, struct.pack("<HH", 4, 2) + b"\x03\x03"),
        payload("W", 2, second, struct.pack("<HH", 4, 2) + b"\x04\x08", ms=1200),
    ]
    frame = codec.rebuild(raw, [first, second], [0, 0])
    assert isinstance(frame, frames.WalkFrame)
    assert (frame.drive, frame.read, frame.rows, frame.ms) == ((1, 2, 3, 4), (1, 2, 3, 4), (3, 3, 4, 8), 1200)
    assert frame.raw == tuple(raw)
    other = b"SCAN:WALK? 2,(@3,4),(@1:3)"
    with pytest.raises(codec.Damaged, match="read different channels"):
        codec.rebuild([raw[0], payload("W", 2, other, struct.pack("<HH", 3, 2) + b"\0\0")], [first, other], [0, 0])
    with pytest.raises(codec.Damaged, match="different kinds"):
        codec.rebuild([raw[0], payload("O", 2, b"OUTP:OFF? 2")], [first, b"OUTP:OFF? 2"], [0, 0])


def test_voltages_from_outside_are_told_from_floating_channels():
    # rail low and rail high readings of the stray-voltage deck: 0.5 V source, -0.3 V, 16 V, -16 V, a ground, floating
    unit = b"MEAS:VOLT? 1,(@1:8)"
    pairs = [(500, 500), (-300, -298), (3970, 3970), (-680, -680), (0, 10), (20, 3100), (460, 2800), (960, 3100)]
    body = struct.pack("<H", 8) + b"".join(struct.pack("<hh", *pair) for pair in pairs)
    frame = codec.decode(payload("V", 1, unit, body), unit, 0)
    assert isinstance(frame, frames.VoltageFrame)
    assert frame.live() == [(1, 0.5), (2, -0.3), (3, 3.97), (4, -0.68), (8, 0.96)]
    assert frame.grounded() == (5,)


@pytest.mark.parametrize("nonce", [-1, 2**32, "x", 1.5, None, True, []])
def test_a_stored_session_number_that_is_none_is_damage(nonce):
    unit = b"OUTP:OFF? 1"
    with pytest.raises(codec.Damaged, match="session number"):
        codec.rebuild([payload("O", 1, unit)], [unit], [nonce])


@pytest.mark.parametrize("zero", ["sense_pv", "reference_pv", "reference_mohm"])
def test_a_reading_with_a_scale_of_zero_is_refused_it_would_be_0_ohm(zero):
    scales = {"sense_pv": 5, "reference_pv": 5, "reference_mohm": 10_000} | {zero: 0}
    body = struct.pack("<HHBBHIIIi", 1, 33, 1, 2, 0, *scales.values(), 0) + struct.pack("<iiH", 9, 9, 0) * 3
    unit = b"MEAS:RES? 1,1,33,1,2"
    with pytest.raises(codec.Damaged, match="of zero"):
        codec.decode(payload("M", 1, unit, body), unit, 0)
    if zero == "sense_pv":
        return
    body = struct.pack("<HHBBHIIiii", 1, 1, 1, 2, 0, scales["reference_pv"], scales["reference_mohm"], 9, 9, 0)
    unit = b"MEAS:ISOL? 1,1,(@33),2"
    with pytest.raises(codec.Damaged, match="of zero"):
        codec.decode(payload("I", 1, unit, body), unit, 0)
