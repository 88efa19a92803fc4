"""The table of all commands (hwspec/protocol.md sections 2 and 3). Constants only: that costs the board little."""

COMMANDS = (
    ("*CLS", "", "", "clear", ""),
    ("*ESE", "", "i", "set_event_mask", ""),
    ("*ESE?", "", "", "event_mask", ""),
    ("*ESR?", "", "", "events", ""),
    ("*IDN?", "", "", "identity", ""),
    ("*OPC", "", "", "complete", ""),
    ("*OPC?", "", "", "one", ""),
    ("*RST", "", "", "reset", ""),
    ("*SRE", "", "i", "set_service_mask", ""),
    ("*SRE?", "", "", "service_mask", ""),
    ("*STB?", "", "", "status_byte", ""),
    ("*TST?", "", "", "self_test", ""),
    ("*WAI", "", "", "wait", ""),
    ("SYSTem:ERRor[:NEXT]?", "", "", "error", ""),
    ("SYSTem:ERRor:COUNt?", "", "", "error_count", ""),
    ("SYSTem:VERSion?", "", "", "scpi_version", ""),
    ("SYSTem:SYNC?", "Y", "i", "sync", ""),
    ("SYSTem:LEASe?", "L", "ii", "lease", ""),
    ("SYSTem:STATe?", "S", "", "state", ""),
    ("SCAN:TIMing?", "T", "|ii", "timing", ""),
    ("SCAN:WALK?", "W", "cc", "walk", "LX"),
    ("SCAN:PATTern?", "P", "cc*", "patterns", "LX"),
    ("DIAGnostic:DRIVer?", "D", "c", "drivers", "LX"),
    ("OUTPut:OFF?", "O", "", "off", ""),
    ("MEASure:VOLTage?", "V", "c", "voltage", "ALX"),
    ("MEASure:RESistance?", "M", "ii|ii", "resistance", "ALX"),
    ("MEASure:ISOLation?", "I", "ic|i", "isolation", "ALX"),
    ("WATCh:LOAD?", "G", "cc*", "watch_load", "X"),
    ("WATCh:STARt?", "B", "|ii", "watch_start", "LX"),
    ("WATCh:LOG?", "K", "i", "watch_log", "L"),
    ("WATCh:STOP?", "Q", "", "watch_stop", ""),
    ("DIAGnostic:SELF?", "F", "i|i", "self_test", "ALX"),
    ("DIAGnostic:HEAP?", "X", "", "heap", ""),
    ("CALibration:REFerence?", "C", "iii", "cal_reference", "ALX"),
    ("CALibration:ZERO?", "C", "c", "cal_zero", "ALX"),
    ("CALibration:BASeline?", "C", "cc", "cal_baseline", "ALX"),
    ("CALibration:SAVE?", "C", "s", "cal_save", "AX"),
    ("CALibration:DATA?", "C", "", "cal_data", "A"),
    ("CALibration:CLEar?", "C", "", "cal_clear", "AX"),
    ("UPDate:BEGin?", "U", "s", "update_begin", "U"),
    ("UPDate:FILE?", "U", "ssi", "update_file", "U"),
    ("UPDate:DATA?", "U", "sis", "update_data", "U"),
    ("UPDate:COMMit?", "U", "", "update_commit", "U"),
    ("UPDate:STARt?", "U", "", "update_start", "U"),
)
"""Header, kind of the reply ("" for text), parameters, method (of CommonCommands or Products), needs.

Parameters: i whole number, c channel list, s string; after "|" optional; "*" repeats the last. Every product query has
its sequence number in front of them. Needs: L a held lease, X no running watch, A the measuring part, U a board that
can be updated and that nobody holds.
"""
