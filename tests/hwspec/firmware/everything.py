"""A conversation that touches every command, good and bad, for runs of two interpreters side by side."""

from __future__ import annotations

from hwspec.firmware.installer import hex_hash

HARNESS = {
    "link": [
        {"a": "D-1", "b": "H-1", "ohms": 0.5},
        {"a": "D-2", "b": "~s"},
        {"a": "H-2", "b": "~s"},
        {"a": "H-3", "b": "~s"},
        {"a": "D-11", "b": "~plug", "ohms": 0.03},
        {"a": "D-12", "b": "~plug", "ohms": 0.04},
        {"a": "D-13", "b": "~plug", "ohms": 0.05},
        {"a": "D-14", "b": "H-14", "ohms": 10.0},
    ],
    "leak": [{"a": "D-4", "b": "H-4", "ohms": 1e6}],
    "diode": [{"anode": "D-5", "cathode": "H-5", "drop_v": 0.6}],
    "dropout": [{"a": "D-6", "b": "H-6", "every_ms": 40, "open_ms": 5}],
}
LEADS = {c: f"D-{c}" for c in range(1, 33)} | {c: f"H-{c - 32}" for c in range(33, 65)}

_COMMON = [
    *("*IDN?", "*ESR?", "*ESE 255;*ESE?", "*SRE 60;*SRE?", "*STB?", "*OPC", "*OPC?", "*WAI", "*TST?", "*CLS"),
    *("SYST:ERR?", "SYSTem:ERRor:NEXT?", "SYST:ERR:COUN?", "SYST:VERS?", "SYST:ERR?;VERS?;:SYST:ERR:COUN?"),
]
_WRONG = [
    *("FOO?", "MEASU:VOLT? 1,(@1)", "SCAN3:WALK? 1,(@1),(@1)", "*ESE", "*ESE 1,2", "*ESE x", "*ESE 999", "*ESE #15ABC"),
    *(
        "*IDN?\x03",
        "CAL:SAVE? 1,'open",
        "SCAN:WALK? 1,(@1,(@1)",
        "SCAN:WALK? 70000,(@1),(@1)",
        "SYST:STAT?",
        "x" * 5000,
    ),
    *("SCAN:WALK? 1,(@1),(@1)", "SCAN:WALK? 2,(@65),(@1)", "SCAN:WALK? 3,(@1,1),(@1)", "SCAN:WALK? 4,(@1:300),(@1)"),
]
_ERRORS = ["SYST:ERR?"] * 18
_OPEN = [
    "SYST:SYNC? 10,#HDEADBEEF",
    "SYST:STAT? 11",
    "SYST:LEAS? 12,#HDEADBEEF,500",
    "SCAN:WALK? 13,(@1),(@1)",
    "SYST:SYNC? 14,5;:SYST:LEAS? 15,5,500",
    "MEAS:VOLT? 16,(@1:48)",
    "MEAS:VOLT? 17,(@49:64)",
]
_SCAN = [
    "SCAN:TIM? 20",
    "SCAN:TIM? 21,30,50",
    "SCAN:WALK? 22,(@1:64),(@1:64)",
    "SCAN:WALK? 23,(@64:50,3),(@9:16,1,64:60)",
    "SCAN:PATT? 24,(@1:64),(@1,2),(@5),(@37)",
    "DIAG:DRIV? 25,(@1:64)",
    "SCAN:TIM? 26,5000,5000;WALK? 27,(@1:64),(@1:64)",
    "*RST;:SCAN:TIM? 28",
    "SYST:LEAS? 29,#HDEADBEEF,500",
]
_MEASURE = [
    "MEAS:RES? 30,1,33",
    "MEAS:RES? 31,4,36,1,3",
    "MEAS:RES? 32,5,37;RES? 33,37,5",
    "MEAS:ISOL? 34,4,(@33:64)",
    "MEAS:ISOL? 35,1,(@33:64),2",
    "DIAG:SELF? 36,0;SELF? 37,2",
    "DIAG:SELF? 38,1",
    "DIAG:SELF? 39,3",
    "DIAG:SELF? 40,7",
]
_CALIBRATE = [
    "CAL:DATA? 50",
    "CAL:ZERO? 51,(@11:13)",
    "CAL:REF? 52,14,46,10000",
    "CAL:BAS? 53,(@20:22),(@20:40)",
    'CAL:SAVE? 54,"2031-05-17"',
    "CAL:DATA? 55",
    "CAL:ZERO? 56,(@20:22)",
    "CAL:CLE? 57",
    "CAL:DATA? 58",
]
_WATCH: list[str | int] = [
    "WATC:STAR? 60",
    "WATC:LOAD? 61,(@1:64),(@1,2,6),(@5),(@4)",
    "WATC:STAR? 62,7",
    40,
    "WATC:LOG? 63,0",
    "SCAN:WALK? 64,(@1),(@1)",
    60,
    "WATC:LOG? 65,1",
    "WATC:STOP? 66",
    "WATC:STAR? 67,1,1",
    "WATC:LOAD? 68,(@1:64),(@1,2,6),(@1,6),(@2,6)",
    "WATC:STAR? 69,1,2",
    "WATC:STAR? 80,1,1",
    90,
    "WATC:LOG? 81,0",
    "WATC:LOG? 83,99999999999999999999",
    "WATC:LOG? 84,#H" + "F" * 60,
    "WATC:LOG? 85,#H" + "F" * 300,
    "WATC:LOG? 86,65536",
    "WATC:LOG? 87,65535",
    40,
    "WATC:STOP? 82",
]
_CLOSE: list[str | int] = [
    "OUTP:OFF? 70",
    "SYST:LEAS? 71,#HDEADBEEF,0",
    "MEAS:VOLT? 72,(@1)",
    "SYST:LEAS? 73,#HDEADBEEF,100",
    150,
    "SYST:STAT? 74",
    "half a line\x00" + "*OPC?",
    "*OPC?",
]

SCRIPT: list[str | int] = [*_COMMON, *_WRONG, *_ERRORS, *_OPEN, *_SCAN, *_MEASURE, *_CALIBRATE, *_WATCH, *_CLOSE]

STEADY = {"link": [{"a": "D-1", "b": "H-1"}, {"a": "D-2", "b": "H-2"}]}
STEADY_SCRIPT: list[str | int] = [
    *_OPEN,
    *_SCAN,
    "WATC:LOAD? 40,(@1:64),(@1,2),(@1),(@2)",
    "WATC:STAR? 41,7",
    30,
    "WATC:LOG? 42,0",
    "WATC:STOP? 43",
    "WATC:LOAD? 44,(@1:64),(@1,2),(@1),(@2)",
    "WATC:STAR? 45,1,1",
    30,
    "WATC:LOG? 46,0",
]

STARTER_SCRIPT: list[str | int] = [
    *_COMMON[:10],
    "SYST:SYNC? 1,9",
    "SYST:STAT? 2",
    "SYST:LEAS? 3,9,500",
    "SCAN:WALK? 4,(@1:20),(@1:20)",
    "SCAN:PATT? 5,(@20:1),(@1,2),(@7)",
    "DIAG:DRIV? 6,(@1:20)",
    "MEAS:RES? 7,1,2",
    "WATC:LOAD? 8,(@1:20),(@1,2)",
    "WATC:STAR? 9",
    20,
    "WATC:LOG? 10,0",
    "WATC:STOP? 11",
    "WATC:LOAD? 13,(@1:20),(@1,2,19),(@1),(@2,19)",
    "WATC:STAR? 14,1,1",
    20,
    "WATC:LOG? 15,0",
    "WATC:STOP? 16",
    "OUTP:OFF? 12",
]


def update_script() -> list[str | int]:
    """An update of two small files, with mistakes."""
    files = {"main.py": b"print('new')\n", "app.py": b"pass\n"}
    listing = "".join(f"{hex_hash(data)} {len(data)} {name}\n" for name, data in files.items())
    return [
        'UPD:FILE? 1,"app.py","00",4',
        f'UPD:BEG? 2,"{hex_hash(listing.encode())}"',
        f'UPD:FILE? 3,"main.py","{hex_hash(files["main.py"])}",13',
        'UPD:DATA? 4,"main.py",0,"cHJpbnQoJ25l"',
        'UPD:DATA? 5,"main.py",0,"cHJpbnQoJ25l"',
        'UPD:DATA? 6,"main.py",11,"AAAA"',
        'UPD:DATA? 7,"main.py",9,"*"',
        "UPD:COMM? 8",
        'UPD:DATA? 9,"main.py",9,"dycpCg=="',
        f'UPD:FILE? 10,"app.py","{hex_hash(files["app.py"])}",5',
        'UPD:DATA? 11,"app.py",0,"cGFzcwo="',
        'UPD:FILE? 12,"../x","00",4',
        "UPD:COMM? 13",
        *["SYST:ERR?"] * 6,
    ]
