"""Saved scans: a JSON file with the netlist for outside tools, and the raw frames for judging again."""

from __future__ import annotations

import base64
import binascii
import json
import math
from typing import Any

from tester.board.codec import rebuild
from tester.board.frames import Frame
from tester.errors import BoardError, InputError
from tester.harness.leads import load_leads, write_leads
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured, OhmsReading, PartReading
from tester.job.measure import RoundFrames, ScanRun, decode

FORMAT = 1


def measured_object(measured: Measured) -> dict[str, Any]:
    """A reading as JSON values. `nets` holds every cavity on a lead in exactly one list."""
    return {
        "nets": [list(circuit) for circuit in measured.netlist],
        "doubtful": [list(p) for p in sorted(measured.doubtful)],
        "directed": [list(p) for p in sorted(measured.directed)],
        "not_seen": [list(p) for p in sorted(measured.not_seen)],
        "parts": [
            {"a": p.a, "b": p.b, "ohms_ab": p.ohms_ab, "ohms_ba": p.ohms_ba, "drop_v": p.drop_v, "stable": p.stable}
            for p in measured.parts
        ],
        "ohms": [{"a": r.a, "b": r.b, "ohms": r.ohms, "u_ohms": r.u_ohms} for r in measured.ohms.values()],
        "proven": sorted(measured.proven),
        "grade": measured.grade,
    }


def scan_object(run: ScanRun, about: dict[str, Any]) -> dict[str, Any]:
    """A finished scan as JSON values; `about` adds board, time and the like."""
    return {"format": FORMAT, **measured_object(run.measured), "about": about, "rounds": rounds_object(run.rounds)}


def rounds_object(rounds: tuple[RoundFrames, ...]) -> list[dict[str, Any]]:
    """Lead maps and raw frames, in order."""
    return [
        {
            "leads": write_leads(r.leads),
            "frames": [
                {
                    "requests": [r.decode("ascii") for r in frame.requests],
                    "nonces": list(frame.nonces),
                    "payloads": [base64.b64encode(p).decode() for p in frame.raw],
                }
                for frame in r.frames
            ],
        }
        for r in rounds
    ]


def load_scan(text: str, name: str) -> Measured:
    """The reading in a saved scan. Raises InputError naming the file, the key and what would be right."""
    content = parse_json(text, name)
    if not isinstance(content, dict) or "nets" not in content:
        raise InputError(f'{name}: not a saved scan: no "nets"', "Save one with: loomwright scan --save FILE")
    if content.get("format", FORMAT) != FORMAT:
        raise InputError(f"{name}: format {content['format']!r}, this version reads format {FORMAT}")
    try:
        return _as_measured(_measured(content), content.get("rounds"), name)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"{name}: damaged scan: {error!s}", "Scan again with: loomwright scan --save FILE") from None


def _as_measured(stated: Measured, rounds: Any, name: str) -> Measured:
    """The reading of the frames, where the file holds them. Raises InputError when the circuits in it are others."""
    if not rounds:
        return stated
    measured = decode(load_rounds(rounds, name))
    if measured.netlist != stated.netlist:
        raise InputError(
            f'{name}: changed since it was saved: "nets" is not what its frames and lead maps give',
            "Scan again with: loomwright scan --save FILE",
        )
    return measured


def parse_json(text: str, name: str) -> Any:
    """JSON without NaN or infinity. Raises InputError with line and column."""

    def refuse(constant: str) -> float:
        raise ValueError(f"{constant} is not a number that a scan can hold")

    try:
        return json.loads(text, parse_constant=refuse)
    except json.JSONDecodeError as error:
        raise InputError(f"{name}: line {error.lineno}, column {error.colno}: {error.msg}") from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"{name}: {error}") from None


def load_rounds(rounds: list[dict[str, Any]], name: str) -> tuple[RoundFrames, ...]:
    """Stored frames back as values; the first damaged one is named by its place."""
    loaded = []
    if not isinstance(rounds, list):
        raise InputError(f'{name}: damaged scan: "rounds" is no list', "Scan again with: loomwright scan --save FILE")
    for number, one in enumerate(rounds, 1):
        text, stored = (one.get("leads"), one.get("frames")) if isinstance(one, dict) else (None, None)
        if not isinstance(text, str) or not isinstance(stored, list):
            raise InputError(f"{name}: round {number}: damaged: no lead map or no frames")
        frames = [_frame(f, f"{name}: round {number}, frame {i}") for i, f in enumerate(stored, 1)]
        loaded.append(RoundFrames(load_leads(text, name), tuple(frames)))
    return tuple(loaded)


def _frame(stored: dict[str, Any], place: str) -> Frame:
    try:
        raw = [base64.b64decode(payload, validate=True) for payload in stored["payloads"]]
        return rebuild(raw, [unit.encode("ascii") for unit in stored["requests"]], stored["nonces"])
    except (AttributeError, BoardError, binascii.Error, IndexError, KeyError, TypeError, ValueError) as error:
        raise InputError(f"{place}: damaged: {str(error).splitlines()[0]}") from None


def _measured(content: dict[str, Any]) -> Measured:
    netlist = Netlist.of([[_cavity(name) for name in net] for net in content["nets"]])

    def pairs(key: str) -> frozenset[tuple[str, str]]:
        found = frozenset((_cavity(a), _cavity(b)) for a, b in content.get(key, []))
        strangers = {name for p in found for name in p if name not in netlist}
        if strangers:
            raise ValueError(f"{key} names {sorted(strangers)[0]}, which is in no net")
        return found

    parts = tuple(
        PartReading(
            _cavity(p["a"]), _cavity(p["b"]), _number(p["ohms_ab"]), _number(p["ohms_ba"]), _number(p.get("drop_v")),
            bool(p.get("stable", True)),
        )
        for p in content.get("parts", [])
    )  # fmt: skip
    readings = [
        OhmsReading(_cavity(r["a"]), _cavity(r["b"]), _sure(r["ohms"]), _sure(r["u_ohms"]))
        for r in content.get("ohms", [])
    ]
    return Measured(
        netlist=netlist,
        doubtful=pairs("doubtful"),
        directed=pairs("directed"),
        not_seen=pairs("not_seen"),
        parts=parts,
        ohms={(r.a, r.b): r for r in readings},
        proven=frozenset(_cavity(c) for c in content.get("proven", [])),
        grade=str(content.get("grade", "scan")),
    )


def _cavity(name: Any) -> str:
    if not isinstance(name, str) or not name:
        raise ValueError(f"{name!r} is not a cavity")
    return name


def _number(value: Any) -> float | None:
    return None if value is None else _sure(value)


def _sure(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{value!r} is not a number")
    return float(value)
