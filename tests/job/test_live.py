"""What the board ticks, warns of and stays silent about while a person works through the sheet."""

from tester.harness.expected import Expected, Outcome
from tester.harness.netlist import Netlist
from tester.job.live import LiveEvent, LiveRules
from tester.job.steps import StepView

CAVITIES = [f"D-{n}" for n in range(1, 6)] + [f"H-{n}" for n in range(1, 6)]


def netlist(*circuits: str) -> Netlist:
    return Netlist.of([circuit.split() for circuit in circuits], CAVITIES)


def step(id: str, do: str, *cavities: str) -> StepView:
    return StepView(id, int(id), do, "", cavities, "open")


FOUND = netlist("D-1 H-1", "D-4 H-4")
WANTED = Expected((Outcome(netlist("D-1 H-1", "D-2 H-2", "D-5 H-5 H-3")),))
STEPS = [
    step("1", "remove", "D-4"),
    step("2", "insert", "D-2"),
    step("3", "insert", "H-2"),
]


def rules() -> LiveRules:
    return LiveRules(STEPS, WANTED, FOUND)


def kinds(events: list[LiveEvent]) -> list[tuple[str, str]]:
    return [(event.kind, event.step) for event in events]


def test_a_new_circuit_in_the_right_place_ticks_only_after_one_steady_second() -> None:
    watch = rules()
    right = netlist("D-1 H-1", "D-4 H-4", "D-2 H-2")
    assert watch.look(right, 0.0) == []
    assert watch.look(right, 0.9) == []
    assert kinds(watch.look(right, 1.0)) == [("right", "2"), ("right", "3")]
    assert watch.look(right, 2.0) == []


def test_a_touch_that_comes_and_goes_ticks_nothing() -> None:
    watch = rules()
    right = netlist("D-1 H-1", "D-4 H-4", "D-2 H-2")
    for tenth in range(40):
        seen = right if tenth % 8 < 6 else FOUND
        assert watch.look(seen, tenth / 10) == []


def test_a_wire_in_the_wrong_cavity_is_named_with_where_it_belongs() -> None:
    watch = rules()
    wrong = netlist("D-1 H-1", "D-4 H-4", "D-2 H-3")
    watch.look(wrong, 0.0)
    (event,) = watch.look(wrong, 0.4)
    assert event.kind == "wrong" and event.cavities == ("D-2", "H-3")
    assert event.says == "Wrong: D-2 is joined to H-3; D-2 belongs with H-2."


def test_an_untouched_circuit_that_opens_is_reported_and_so_is_its_return() -> None:
    watch = rules()
    gone = netlist("D-4 H-4")
    watch.look(gone, 0.0)
    assert kinds(watch.look(gone, 0.4)) == [("lost", "")]
    assert kinds(watch.look(FOUND, 0.5)) == [("back", "")]


def test_losses_stay_silent_while_a_removal_is_under_way_until_done_is_said() -> None:
    watch = rules()
    watch.begin("1")
    shaken = netlist("D-4 H-4")
    for tenth in range(10):
        assert watch.look(shaken, tenth / 10) == []
    watch.done("1")
    after = netlist("D-4 H-4", "D-1 H-1")
    watch.look(after, 2.0)
    assert "lost" not in {event.kind for event in watch.look(after, 3.5)}


def test_a_removed_terminal_asks_to_be_confirmed_and_is_never_ticked_as_right() -> None:
    watch = rules()
    out = netlist("D-1 H-1")
    watch.look(out, 0.0)
    (event,) = watch.look(out, 1.0)
    assert (event.kind, event.step, event.by_hand) == ("gone", "1", True)
