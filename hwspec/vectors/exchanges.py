"""Every kind of reply at least once, with what it means."""

from __future__ import annotations

import struct

from hwspec.vectors.framing import NONCE, Vector, exchange, rows

STATE = (
    "build=full;channels=64;cards=1;can=scan,voltage,resistance,isolation,watch;"
    "serial=5642000000000001;firmware=1.1.2;protocol=1.1;limits=1;timing=40,60"
)


def log(cycles: int, ms: int, worst: int, mean: int, total: int, kept: int, running: int, n: int, first: int) -> bytes:
    """First 24 bytes of K and Q."""
    return struct.pack("<IIIIHHBBH", cycles, ms, worst, mean, total, kept, running, n, first)


def session() -> list[Vector]:
    """Opening, state, off, failures."""
    return [
        exchange(
            "sync", "Y", "SYSTem:SYNC? 1,#HDEADBEEF", struct.pack("<IBB", NONCE, 1, 1), nonce=NONCE, major=1, minor=1
        ),
        exchange("lease taken", "L", "SYST:LEAS? 2,3735928559,500", struct.pack("<H", 500), granted_ms=500),
        exchange("lease given back", "L", "SYST:LEAS? 3,3735928559,0", struct.pack("<H", 0), granted_ms=0),
        exchange("state", "S", "SYST:STAT? 4", STATE.encode(), text=STATE),
        exchange("off", "O", "OUTP:OFF? 12", b""),
        exchange(
            "no lease",
            "E",
            "SCAN:WALK? 13,(@1),(@1:64)",
            struct.pack("<h", -221) + b"Settings conflict;no lease",
            number=-221,
            text="Settings conflict;no lease",
        ),
        exchange(
            "voltage on a channel",
            "E",
            "SCAN:WALK? 14,(@1),(@1:64)",
            struct.pack("<h", -240) + b"Hardware error;3.95 V on channel 6",
            number=-240,
            text="Hardware error;3.95 V on channel 6",
        ),
    ]


def scanning() -> list[Vector]:
    """Scans and the voltage check."""
    walk = rows(4, 0b0001, 0b0110, 0b0110, 0b1000)
    return [
        exchange("timing read", "T", "SCAN:TIM? 5", struct.pack("<II", 40, 60), release_us=40, fall_us=60),
        exchange(
            "timing set", "T", "scan:timing? 6,200,300", struct.pack("<II", 200, 300), release_us=200, fall_us=300
        ),
        exchange(
            "walk of four, 2 and 3 joined",
            "W",
            "SCAN:WALK? 7,(@1:4),(@1:4)",
            struct.pack("<HH", 4, 4) + walk,
            read=[1, 2, 3, 4],
            drive=[1, 2, 3, 4],
            rows=[1, 6, 6, 8],
        ),
        exchange(
            "walk of two drivers over nine in falling order",
            "W",
            "SCAN:WALK? 8,(@17,2),(@17:9)",
            struct.pack("<HH", 9, 2) + rows(9, 0b000000001, 0b100000000),
            read=[17, 16, 15, 14, 13, 12, 11, 10, 9],
            drive=[17, 2],
            rows=[1, 256],
        ),
        exchange(
            "patterns",
            "P",
            "SCAN:PATT? 9,(@1:3,7),(@1,7),(@2)",
            struct.pack("<HH", 4, 2) + rows(4, 0b1001, 0b0110),
            read=[1, 2, 3, 7],
            driven=[[1, 7], [2]],
            rows=[9, 6],
        ),
        exchange(
            "drivers", "D", "DIAG:DRIV? 10,(@1:3)", struct.pack("<H3B", 3, 3, 1, 2), channels=[1, 2, 3], flags=[3, 1, 2]
        ),
        exchange(
            "voltage",
            "V",
            "MEAS:VOLT? 11,(@5,6)",
            struct.pack("<Hhhhh", 2, -12, 3105, 3950, 3961),
            channels=[5, 6],
            low_mv=[-12, 3950],
            high_mv=[3105, 3961],
        ),
    ]


def measuring() -> list[Vector]:
    """Resistance, isolation, self-test, heap."""
    resistance = struct.pack("<HHBBHIIIi", 1, 33, 5, 2, 0, 7812500, 7812500, 100000, 28507)
    resistance += (
        struct.pack("<iiH", 1234, 38210, 3) + struct.pack("<iiH", 12, 14, 2) + struct.pack("<iiH", -1208, 38190, 4)
    )
    isolation = struct.pack("<HHBBHIIiii", 5, 3, 5, 4, 2, 7812500, 100000, 180, -14, -25)
    return [
        exchange(
            "resistance",
            "M",
            "MEAS:RES? 15,1,33",
            resistance,
            a=1,
            b=33,
            range=5,
            samples=2,
            flags=0,
            sense_pv=7812500,
            reference_pv=7812500,
            reference_mohm=100000,
            gain_ppm=28507,
            sense=[1234, 12, -1208],
            reference=[38210, 14, 38190],
            spread=[3, 2, 4],
        ),
        exchange(
            "isolation",
            "I",
            "MEAS:ISOL? 16,5,(@1,7,9)",
            isolation,
            y=5,
            others=3,
            range=5,
            samples=4,
            flags=2,
            reference_pv=7812500,
            reference_mohm=100000,
            high=180,
            low=-14,
            baseline_na=-25,
        ),
        exchange(
            "self-test of the reference cell",
            "F",
            "DIAG:SELF? 21,2",
            struct.pack("<BBHHi", 2, 1, 1, 0, 10003),
            part=2,
            passed=1,
            found=[[0, 10003]],
        ),
        exchange("heap", "X", "DIAG:HEAP? 22", struct.pack("<II", 120000, 66000), free=120000, used=66000),
    ]


def watching() -> list[Vector]:
    """The dropout watch, begun."""
    return [
        exchange(
            "watch loaded",
            "G",
            "WATC:LOAD? 17,(@1:64),(@1,9,12),(@9)",
            struct.pack("<HHI", 64, 2, 640),
            read=64,
            patterns=2,
            estimate_us=640,
        ),
        exchange(
            "watch started",
            "B",
            "WATC:STAR? 18,10",
            struct.pack("<HH", 4, 2) + rows(4, 0b0011, 0b0010),
            read=4,
            patterns=2,
            rows=[3, 2],
        ),
        exchange(
            "watch that lets go started",
            "B",
            "WATC:STAR? 33,1,1",
            struct.pack("<HH", 4, 2) + rows(4, 0b1111, 0b0000),
            read=4,
            patterns=2,
            rows=[15, 0],
        ),
    ]


def watch_logs() -> list[Vector]:
    """What the dropout watch saw, while it runs and at its end."""
    event = struct.pack("<IIHBB", 400123, 3100, 9, 0, 1) + struct.pack("<IIHBB", 800456, 0xFFFFFFFF, 12, 1, 2)
    return [
        exchange(
            "log with two events",
            "K",
            "WATC:LOG? 19,0",
            log(2600, 1000, 1900, 384, 2, 2, 1, 2, 0) + event,
            readings=2600,
            elapsed_ms=1000,
            longest_us=1900,
            mean_us=384,
            total=2,
            kept=2,
            running=1,
            first=0,
            events=[[400123, 3100, 9, 0, 1], [800456, 0xFFFFFFFF, 12, 1, 2]],
        ),
        exchange(
            "watch stopped",
            "Q",
            "WATC:STOP? 20",
            log(5200, 2000, 1900, 384, 2, 2, 0, 0, 0),
            readings=5200,
            elapsed_ms=2000,
            longest_us=1900,
            mean_us=384,
            total=2,
            kept=2,
            running=0,
            first=0,
        ),
    ]


def calibrating() -> list[Vector]:
    """Calibration."""
    return [
        exchange(
            "calibration with a reference resistor",
            "C",
            "CAL:REF? 23,1,2,10000",
            struct.pack("<B3xii", 1, 10012, 27276),
            which=1,
            measured_mohm=10012,
            gain_ppm=27276,
        ),
        exchange(
            "calibration with a shorting plug",
            "C",
            "CAL:ZERO? 24,(@1:3)",
            struct.pack("<BBH3h", 2, 0, 3, 52, 49, 61),
            which=2,
            zeros=[52, 49, 61],
        ),
        exchange(
            "calibration of the baseline",
            "C",
            "CAL:BAS? 25,(@4,5),(@1:8)",
            struct.pack("<BBH2h", 3, 0, 2, -3, 12),
            which=3,
            baselines=[-3, 12],
        ),
        exchange("calibration saved", "C", 'CAL:SAVE? 26,"2031-05-17"', b"\x04\x00", which=4),
        exchange(
            "calibration data of a board of two channels",
            "C",
            "CAL:DATA? 27",
            struct.pack("<BB10sIiBBH", 5, 1, b"2031-05-17", 0x12345678, 27276, 7, 0, 2)
            + struct.pack("<hhhh", 52, -3, -32768, -32768),
            which=5,
            stored=1,
            date="2031-05-17",
            check=0x12345678,
            gain_ppm=27276,
            flags=7,
            zeros=[52, -32768],
            baselines=[-3, -32768],
        ),
        exchange("calibration cleared", "C", "CAL:CLE? 28", b"\x06\x00", which=6),
    ]


def updating() -> list[Vector]:
    """Firmware update."""
    return [
        exchange(
            "update begun",
            "U",
            'UPD:BEG? 29,"9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"',
            struct.pack("<B3xI", ord("b"), 1),
            slot="b",
            value=1,
        ),
        exchange("update data", "U", 'UPD:DATA? 30,"app.py",0,"YWJj"', struct.pack("<B3xI", 0, 3), slot="", value=3),
    ]


def exchanges() -> list[Vector]:
    """All of them."""
    return session() + scanning() + measuring() + watching() + watch_logs() + calibrating() + updating()
