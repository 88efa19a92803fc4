"""Invented jobs for reports: one that passed after rework, one that failed, one with names that attack."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from tester.harness.connectors import make_face
from tester.harness.verdict import FAIL, NOT_TESTED, PASS, CavityVerdict, Fault, Verdict
from tester.reports.content import ConnectorView, JobRecord, LimitLine, PhotoLine, ReworkLine, StepLine

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
HEAD = "BENCH:12:0123456789abcdef"

ATTACKS = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'); DROP TABLE jobs; --",
    "]]><!--",
    "&amp;&lt;",
    '=HYPERLINK("http://x")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    " =1+1",
    "\uff1d1+1",
    "'=1+1",
    "a\x00b\x07c\x1b[31m",
    "\u202eright to left",
    "zero\u200bwidth",
    "line\nend",
    "half \ud800 pair",
    "{{7*7}} ${7*7} %s",
    "javascript:alert(1)",
    "木工 äöü Жук ✓",
    "x" * 300,
    "`backtick` $(id)",
    "\\n\\u0000",
    "</style></title><svg onload=alert(1)>",
    "<a href=//x>",
    "[/b] [red]",
    "\ufeffmark",
    "\x85\x9f\u2028",
)


def cavities(wrong: tuple[str, ...] = (), untested: tuple[str, ...] = ()) -> tuple[CavityVerdict, ...]:
    """Fifty cavities, D-1 to D-18 with H-1 to H-32."""
    made = []
    for n in range(1, 19):
        made.append((f"D-{n}", (f"H-{n + 3}",)))
    for n in range(1, 33):
        made.append((f"H-{n}", (f"D-{n - 3}",) if 4 <= n <= 21 else ()))
    return tuple(
        CavityVerdict(
            name,
            FAIL if name in wrong else NOT_TESTED if name in untested else PASS,
            partners,
            () if name in wrong else partners,
            "no lead" if name in untested else "",
            "unproven" if not partners else "proven",
        )
        for name, partners in made
    )


def verdict(word: str, wrong: tuple[str, ...] = (), untested: tuple[str, ...] = ()) -> Verdict:
    """A verdict on `cavities`."""
    faults = (Fault("miswire", (*wrong, "H-9"), 0, "move", sits=("H-9",), belongs=("H-11",), steps=("s4",)),)
    return Verdict(
        word,
        ("continuity", "isolation"),
        (("resistance", "this board cannot do it"),),
        cavities(wrong, untested),
        faults if wrong else (),
        1 if wrong else 0,
        unproven=("H-1", "H-2"),
        untested=(("no lead", untested),) if untested else (),
    )


def good_job() -> JobRecord:
    """A job that passed at the second test."""
    d = ConnectorView("D", "door side, 18 cavities", make_face(["1-9", "10-18"], range(1, 19)))
    h = ConnectorView(
        "H", "body side, 32 cavities", make_face(["1-8", "9-16", "17-24", "25-32"], range(1, 33), "mating")
    )
    steps = tuple(
        StepLine(
            f"s{n}", f"Insert wire w{n} into H-{n + 3}", "done", "seen by the board", NOON + timedelta(minutes=n), "ab"
        )
        for n in range(1, 6)
    )
    return JobRecord(
        record="BENCH-0012",
        made=NOON + timedelta(hours=1),
        title="Heated mirror kit",
        plan="side-door.toml",
        revision="3",
        plan_text='format = 1\nid = "side-door"\n\n[[step]]\nid = "s1"\n    kind = "insert"\n',
        harness="side door",
        tag="T-17",
        side="left",
        variant="heater",
        customer="order 88123",
        opened=NOON,
        verdict=verdict(PASS),
        verdict_at=NOON + timedelta(minutes=50),
        connectors=(d, h),
        edited=frozenset({"D-1", "H-4", "H-11"}),
        changed=("Wire w1 was put between D-1 and H-4.", "The terminal that was in H-11 was taken out and taped back."),
        steps=(*steps, StepLine("s6", "Seal off lead w6", "not needed")),
        accepted=("D-7 was joined to H-3 on 23 of 23 before, not here.",),
        answers=(("Is there a terminal in H-31?", "no, by eye, photo 1"),),
        rework=(
            ReworkLine(
                NOON + timedelta(minutes=30),
                "FAIL: continuity and isolation",
                ("The terminal in H-9 belongs in H-11.",),
            ),
        ),
        aborted=("2026-03-01 12:20: the link broke (checksum); no cavity of it counts.",),
        limits=(LimitLine("D-1 to H-4", "61.9 mohm", "120 mohm", "0.5 mm2, 1.5 m at 35 C, two contacts", "within"),),
        cautions=(("The battery is disconnected.", "ab"), ("This is a low-voltage test.", "")),
        initials=(("Builder", "ab"), ("Tester", "cd")),
        versions=(("Program", "0.1.0"), ("Board", "Scanboard Full, serial 0042"), ("Calibration", "2026-02-01")),
        checklist=(("Mirror heating warms within two minutes", "yes"), ("Window lifter", "")),
        photos=(PhotoLine("plug.jpg", "ab" * 32, "plug D before work"),),
        notes=("Brown stain in cavity 4.",),
        head=HEAD,
    )


def bad_job() -> JobRecord:
    """The same job before its rework."""
    return replace(
        good_job(), record="BENCH-0013", verdict=verdict(FAIL, ("D-8", "H-11"), ("H-32",)), rework=(), checklist=()
    )


def hostile_job() -> JobRecord:
    """A job whose every text attacks what shows it."""
    text = " | ".join(ATTACKS)
    base = bad_job()
    one = replace(
        base.verdict,
        outcome=text,
        scope=(text,),
        cavities=tuple(replace(c, why=ATTACKS[n % len(ATTACKS)]) for n, c in enumerate(base.verdict.cavities)),
    )  # type: ignore[type-var]
    return replace(
        base,
        record="BENCH-0014",
        title=text,
        plan=text,
        revision=text,
        plan_text="\n".join(ATTACKS),
        harness=text,
        tag=text,
        side=text,
        variant=text,
        customer=text,
        verdict=one,
        changed=ATTACKS,
        accepted=ATTACKS,
        aborted=ATTACKS,
        notes=ATTACKS,
        answers=tuple((a, a) for a in ATTACKS),
        cautions=tuple((a, a) for a in ATTACKS),
        initials=((text, text),),
        versions=((text, text),),
        checklist=tuple((a, a) for a in ATTACKS),
        steps=tuple(StepLine(a, a, a, a, NOON, a) for a in ATTACKS),
        limits=tuple(LimitLine(a, a, a, a, a) for a in ATTACKS),
        rework=(ReworkLine(NOON, text, ATTACKS),),
        photos=(PhotoLine(text, text, text, b"<svg onload=alert(1)>"),),
        connectors=tuple(replace(c, title=text) for c in base.connectors),
        head=text,
    )
