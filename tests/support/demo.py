"""The shipped side door: plans, lead maps, and what a perfect scan of a virtual harness file would see."""

from __future__ import annotations

import tomllib

from tester.harness.leads import LeadMap, load_leads
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.plan.load import load_plan
from tester.plan.models import Plan
from tester.shipped import shipped

EMPTY = {"occupied D-13": False}


def demo_plan(name: str = "side-door.toml") -> Plan:
    return load_plan(shipped("fixtures", "plans", name).read_bytes(), name)


def demo_leads(name: str = "side-door-leads.toml") -> LeadMap:
    return load_leads(shipped("fixtures", "leads", name).read_bytes(), name)


def perfect_scan(name: str) -> Measured:
    """Scan of a virtual harness file by the demo leads, straight from its tables: links join, diodes are one-way."""
    tables = tomllib.loads(shipped("fixtures", "harnesses", f"{name}.toml").read_text("utf-8"))
    cavities = demo_leads().cavities
    links = [(link["a"], link["b"]) for link in tables["link"]]
    directed = {(one["cathode"], one["anode"]) for one in tables.get("diode", [])}
    return Measured(Netlist.from_links(links, cavities).restricted(cavities), directed=frozenset(directed))
