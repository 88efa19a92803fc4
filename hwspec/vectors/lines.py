"""What the host sends: channel lists, lines, a conversation."""

from __future__ import annotations

from hwspec.vectors.framing import Vector


def channel_lists() -> list[Vector]:
    """Channel lists: what they mean, or the error number."""
    good = [
        ("(@1:3,7)", [1, 2, 3, 7], "SCPI-99 8.3.2"),
        ("(@5)", [5], "SCPI-99 8.3.2"),
        ("(@3:1)", [3, 2, 1], "SCPI-99 8.3.2"),
        ("(@ 1 : 2 , 9 )", [1, 2, 9], "blanks between elements"),
        ("(@1:256)", list(range(1, 257)), "protocol.md section 1"),
    ]
    bad = [
        ("(@)", -171),
        ("(@1,)", -171),
        ("(@1:2:3)", -171),
        ("(@1!2)", -171),
        ("(@a)", -171),
        ("(1,2)", -171),
        ("(@-1)", -171),
        ("(@1:257)", -222),
        ("(@1:99999)", -222),
        ("7", -104),
    ]
    vectors: list[Vector] = [{"text": t, "channels": c, "source": s} for t, c, s in good]
    return vectors + [{"text": t, "error": e} for t, e in bad]


def requests() -> list[Vector]:
    """Lines as the board reads them: units by short header with parameters, or the error that ends the line."""

    def line(text: str, *units: tuple[str, list[object]], error: int = 0) -> Vector:
        return {"line": text, "units": [{"header": h, "parameters": p} for h, p in units], "error": error}

    return [
        line("*IDN?", ("*IDN?", [])),
        line("*idn?", ("*IDN?", [])),
        line("SYSTem:ERRor?", ("SYST:ERR?", [])),
        line("SYST:ERR:NEXT?", ("SYST:ERR?", [])),
        line(":system:error:count?", ("SYST:ERR:COUN?", [])),
        line("SYST:ERR?;VERS?", ("SYST:ERR?", []), ("SYST:VERS?", [])),
        line("SYST:ERR:NEXT?;*ESR?;COUN?", ("SYST:ERR?", []), ("*ESR?", []), ("SYST:ERR:COUN?", [])),
        line("SYST:ERR?;:SCAN:TIM? 1", ("SYST:ERR?", []), ("SCAN:TIM?", [1])),
        line("SYST:ERR?;SCAN:TIM? 1", ("SYST:ERR?", []), error=-113),
        line("*ESE 36; *SRE #B100000", ("*ESE", [36]), ("*SRE", [32])),
        line("*ESE 1.6", ("*ESE", [2])),
        line("*ESE 3e1", ("*ESE", [30])),
        line(";;*CLS;", ("*CLS", [])),
        line("", error=0),
        line("SCAN:WALK? 7,(@1:3,7),(@1:4)", ("SCAN:WALK?", [7, [1, 2, 3, 7], [1, 2, 3, 4]])),
        line("scan:walk? 7 , (@ 1 , 2 ) ,(@3)", ("SCAN:WALK?", [7, [1, 2], [3]])),
        line("SCAN:PATTERN? 9,(@1:2),(@1),(@2)", ("SCAN:PATT?", [9, [1, 2], [1], [2]])),
        line('CAL:SAVE? 1,"2031-05-17"', ("CAL:SAVE?", [1, "2031-05-17"])),
        line("CAL:SAVE? 1,'a;b,(c'", ("CAL:SAVE?", [1, "a;b,(c"])),
        line("SYST:SYNC? 1,#HdeadBEEF", ("SYST:SYNC?", [1, 0xDEADBEEF])),
        line("MEASU:VOLT? 1,(@1)", error=-113),
        line("SCAN2:WALK? 1,(@1),(@1)", error=-114),
        line("SCAN:WALK 1,(@1),(@1)", error=-113),
        line("FOO?", error=-113),
        line("*IDN? 1", error=-108),
        line("*ESE", error=-109),
        line("*ESE abc", error=-104),
        line("*ESE 1e99", error=-222),
        line("*ESE nan", error=-104),
        line("*ESE #15ABC", error=-161),
        line("CAL:SAVE? 1,\"open", error=-102),
        line("SCAN:WALK? 1,(@1,(@1)", error=-171),
        line("SCAN:WALK? 1,(@1)),(@1)", error=-171),
        line("*IDN?\x00", error=-102),
    ]  # fmt: skip


def dialogue() -> list[Vector]:
    """Lines and text answers of a freshly started board, in this order."""
    return [
        {"send": "*ESR?", "answer": "128"},
        {"send": "*ESR?", "answer": "0"},
        {"send": "SYST:ERR?", "answer": '0,"No error"'},
        {"send": "SYST:VERS?", "answer": "1999.0"},
        {"send": "FOO?", "answer": None},
        {"send": "*STB?", "answer": "4"},
        {"send": "SYST:ERR:COUN?", "answer": "1"},
        {"send": "*ESR?", "answer": "32"},
        {"send": "SYST:ERR?", "answer": '-113,"Undefined header;FOO?"'},
        {"send": "SYST:ERR?", "answer": '0,"No error"'},
        {"send": "*ESE 32;*SRE 32", "answer": None},
        {"send": "*ESE?;*SRE?", "answer": "32;32"},
        {"send": "BAR", "answer": None},
        {"send": "*STB?", "answer": "100"},
        {"send": "*CLS", "answer": None},
        {"send": "*STB?;*ESR?", "answer": "0;0"},
        {"send": "*OPC", "answer": None},
        {"send": "*ESR?;*OPC?", "answer": "1;1"},
        {"send": "*WAI;*TST?", "answer": "0"},
        {"send": "*ESE 300", "answer": None},
        {"send": "SYST:ERR?", "answer": '-222,"Data out of range;300: not 0 to 255"'},
        {"send": "SCAN:WALK?", "answer": None},
        {"send": "SYST:ERR?", "answer": '-109,"Missing parameter;sequence number"'},
        {"send": "*RST;*OPC?", "answer": "1"},
    ]
