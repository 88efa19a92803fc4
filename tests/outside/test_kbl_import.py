"""KBL import against an independent reading of the XML, and against files made to do harm.

The sample comes from github.com/4Soft-de/harness-model (MIT), commit a36724598b584de7fafc1d82888aafb0588fcfd5,
kbl2vec test resources; it is not part of this project. LOOMWRIGHT_KBL names the folder that holds it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections import defaultdict
from pathlib import Path

import networkx as nx
import pytest

from tester.errors import InputError
from tester.harness.colours import load_house_colours
from tester.harness.copper import wire_ohms
from tester.plan.exchange import import_plan, imported_text
from tester.plan.expect import expectation, reference_netlist
from tester.plan.kbl import MAX_BYTES, import_kbl
from tester.plan.load import load_plan
from tester.shipped import shipped


def sample() -> bytes:
    folder = os.environ.get("LOOMWRIGHT_KBL", "")
    if not folder:
        if os.environ.get("LOOMWRIGHT_ALL_TESTS"):
            pytest.fail("LOOMWRIGHT_KBL must name the folder with the KBL samples here")
        pytest.skip("LOOMWRIGHT_KBL does not name a folder with KBL samples; they are not part of this project")
    return (Path(folder) / "generator_cable.kbl").read_bytes()


def independent(data: bytes) -> tuple[dict[str, set[str]], list[set[str]], float, dict[str, float]]:
    """Connectors with cavities, circuits, sum of wire lengths (mm), sizes by wire number; by plain XPath."""
    root = ET.fromstring(data)
    numbers = {c.get("id"): c.findtext("Cavity_number") for c in root.findall("Connector_housing/Slots/Cavities")}
    cavities: dict[str, set[str]] = defaultdict(set)
    name_of: dict[str | None, str] = {}
    at: dict[str | None, str] = {}
    for connector in root.findall("Harness/Connector_occurrence"):
        id = connector.findtext("Id", "")
        for one in connector.findall("Slots/Cavities"):
            name_of[one.get("id")] = f"{id}-{numbers[one.findtext('Part')]}"
            cavities[id].add(name_of[one.get("id")])
        for point in connector.findall("Contact_points"):
            at[point.get("id")] = name_of[point.findtext("Contacted_cavity")]
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(name_of.values())
    for connection in root.findall("Harness/Connection"):
        graph.add_edge(*(at[end.findtext("Contact_point")] for end in connection.findall("Extremities")))
    lengths = root.findall("Harness/General_wire_occurrence/Length_information/Length_value/Value_component")
    areas = {
        w.get("id"): float(w.findtext("Cross_section_area/Value_component", "0")) for w in root.findall("General_wire")
    }
    sizes = {
        w.findtext("Wire_number", ""): areas[w.findtext("Part")]
        for w in root.findall("Harness/General_wire_occurrence")
    }
    return cavities, list(nx.connected_components(graph)), sum(float(v.text or 0) for v in lengths), sizes


def test_the_sample_equals_an_independent_reading_of_its_xml() -> None:
    data = sample()
    cavities, circuits, length, sizes = independent(data)
    made = import_plan(data, "generator_cable.kbl")
    plan = made.plan
    assert {one.id: set(one.names) for one in plan.connector} == cavities
    assert plan.expected is not None
    assert {frozenset(c) for c in reference_netlist(plan.expected)} == {frozenset(c) for c in circuits}
    assert sum(wire.length_mm or 0 for wire in plan.wire) == pytest.approx(length)
    assert {wire.id: wire.size_mm2 for wire in plan.wire} == sizes


def test_the_sample_has_the_published_counts() -> None:
    # github.com/4Soft-de/harness-model: 3 connectors, 7 cavities (5 used), 3 wires, circuits of 2 and 3 cavities
    plan = import_plan(sample(), "generator_cable.kbl").plan
    assert plan.expected is not None
    circuits = reference_netlist(plan.expected)
    assert (len(plan.connector), len(plan.cavities), len(plan.wire)) == (3, 7, 3)
    assert sorted(len(c) for c in circuits) == [1, 1, 2, 3]
    assert [(w.size_mm2, w.length_mm) for w in plan.wire] == [(0.5, 261.31), (0.5, 321.1), (6.0, 321.1)]


def test_the_sample_becomes_a_plan_file_with_limits_for_each_wire() -> None:
    house = load_house_colours(shipped("fixtures", "plans", "colours", "din-47002.toml").read_bytes(), "din")
    made = import_plan(sample(), "generator_cable.kbl", colours=house)
    assert [str(wire.paint) for wire in made.plan.wire] == ["BK/VT", "RD/YE", "RD/WH"] and made.notes == ()
    text = imported_text(made, "generator_cable.kbl")
    assert load_plan(text, "again") == made.plan
    links = {(link.a, link.b): link for link in expectation(made.plan, None).links}
    assert links["TMM.2A1-3", "XA.C.1-2"].length_m == pytest.approx(0.26131)
    assert [wire.wire for wire in links["TMM.2A1-1", "TMM.2A1-2"].path] == ["3", "2"]


WIRE = """<General_wire id="p1"><Cross_section_area><Unit_component>mm2</Unit_component>
<Value_component>{size}</Value_component></Cross_section_area><Cover_colour><Colour_value>BU</Colour_value></Cover_colour>
</General_wire>"""
HARNESS = (
    """<KBL_container>
<Unit id="mm"><Si_unit_name>metre</Si_unit_name><Si_prefix>{prefix}</Si_prefix></Unit>
<Unit id="mm2"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix><Si_dimension>square</Si_dimension></Unit>
<Connector_housing id="h"><Slots id="s"><Cavities id="c1"><Cavity_number>{number}</Cavity_number></Cavities>
<Cavities id="c2"><Cavity_number>2</Cavity_number></Cavities></Slots></Connector_housing>"""
    + WIRE
    + """
<Harness><Part_number>x</Part_number>
<Connector_occurrence><Id>A 1</Id><Usage>{usage}</Usage>
<Contact_points id="k1"><Contacted_cavity>o1</Contacted_cavity></Contact_points>
<Contact_points id="k2"><Contacted_cavity>o2</Contacted_cavity></Contact_points>
<Slots><Part>s</Part><Cavities id="o1"><Part>c1</Part></Cavities><Cavities id="o2"><Part>c2</Part></Cavities></Slots>
</Connector_occurrence>
<General_wire_occurrence id="w1"><Part>p1</Part><Wire_number>7</Wire_number>
<Length_information><Length_type>DMU</Length_type>
<Length_value><Unit_component>mm</Unit_component><Value_component>{length}</Value_component></Length_value></Length_information>
</General_wire_occurrence>
<Connection><Id>n</Id><Wire>w1</Wire><Extremities><Position_on_wire>0</Position_on_wire><Contact_point>k1</Contact_point></Extremities>
<Extremities><Position_on_wire>1</Position_on_wire><Contact_point>k2</Contact_point></Extremities></Connection>
</Harness></KBL_container>"""
)


def small(size: str = "0.5", length: str = "100", prefix: str = "milli", number: str = "1", usage: str = "") -> bytes:
    return HARNESS.format(size=size, length=length, prefix=prefix, number=number, usage=usage).encode()


def test_a_zero_length_is_noted_and_refused_when_a_limit_is_computed() -> None:
    made = import_kbl(small(length="0"), "zero.kbl")
    assert made.plan.wire[0].length_mm is None
    assert "wire 7: length is 0: no limit can be computed from it" in made.notes
    with pytest.raises(ValueError, match="gives no resistance"):
        wire_ohms(0.5, 0.0)
    assert expectation(made.plan, None).links[0].length_m is None


@pytest.mark.parametrize(
    ("length", "prefix", "mm"),
    [("0.1", "", 100), ("10", "centi", 100), ("nan", "milli", None), ("1e99", "milli", None), ("-5", "milli", None)],
)
def test_lengths_come_in_millimetres_or_not_at_all(length: str, prefix: str, mm: float | None) -> None:
    found = import_kbl(small(length=length, prefix=prefix), "x.kbl").plan.wire[0].length_mm
    assert found == (pytest.approx(mm) if mm else None)


def test_names_and_numbers_that_do_not_fit_are_renamed_and_said() -> None:
    made = import_kbl(small(number="A"), "x.kbl")
    assert made.plan.connector[0].id == "A_1" and made.plan.cavities == ("A_1-1", "A_1-2")
    assert any("1 = A, 2 = 2" in note for note in made.notes) and any("is called A_1" in note for note in made.notes)


def test_a_splice_connector_is_buried_and_never_wants_a_lead() -> None:
    plan = import_kbl(small(usage="splice"), "x.kbl").plan
    assert plan.connector[0].kind == "splice" and plan.required == frozenset()


BOMB = (
    b'<!DOCTYPE x [<!ENTITY a "'
    + b"a" * 1000
    + b'">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 50) for n in range(9))
    + b"]><x>&j;</x>"
)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (BOMB, "refused: DTD in the file"),
        (b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><x>&e;</x>', "refused: DTD"),
        (b'<!DOCTYPE x SYSTEM "http://127.0.0.1:9/x.dtd"><x/>', "refused: DTD"),
        (b"<a>" * 200 + b"</a>" * 200, "nested too deep"),
        (b"<x>" + b"<a/>" * 500_000 + b"</x>", "too many elements"),
        (b" " * (MAX_BYTES + 1), "is too big; at most 16 MB"),
        (b"<x>", "line 1: not well-formed XML"),
        (b"", "not well-formed XML"),
        (b"\x00\x01\x02", "not well-formed XML"),
        (b"<x/>", "no <Harness> in it"),
        (b"<x><Harness/></x>", "no connector in it"),
        (b'<?xml version="1.0" encoding="klingon"?><x/>', "x.kbl"),
    ],
    ids=lambda value: value[:20] if isinstance(value, str) else "data",
)
def test_hostile_and_broken_files_are_refused_with_one_message(data: bytes, words: str) -> None:
    with pytest.raises(InputError) as caught:
        import_kbl(data, "x.kbl")
    assert words in str(caught.value)


def test_a_hundred_megabytes_and_entity_bombs_stay_within_bounded_memory() -> None:
    program = (
        "import resource, sys\n"
        "from tests.outside.test_kbl_import import BOMB, import_kbl\n"
        "from tester.errors import InputError\n"
        "big = b'<x>' + b'<Node>' + b'<a/>' * 100 + b'</Node>' * 1 + b'<y/>' * 24_000_000 + b'</x>'\n"
        "start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "for data in (BOMB, big, big[:15_900_000]):\n"
        "    try:\n        import_kbl(data, 'x.kbl')\n        sys.exit('read it')\n"
        "    except InputError as wrong:\n        print(str(wrong)[:60])\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - start)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=100, check=False)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert "refused" in lines[0] and "too big" in lines[1] and "too many elements" in lines[2]
    assert int(lines[-1]) < 150_000  # kilobytes above the data itself


def test_the_format_is_told_by_the_ending_or_by_name() -> None:
    assert import_plan(small(), "a.xml").plan == import_plan(small(), "a.dat", "KBL").plan
    with pytest.raises(InputError, match="its ending does not say the format; give one of csv, kbl, toml"):
        import_plan(small(), "a.dat")
    with pytest.raises(InputError, match='format "kbll" is not known; one of csv, kbl, toml; did you mean "kbl"'):
        import_plan(small(), "a.kbl", "kbll")
