"""Faces at their limits: single rows, cavity 0, runs of two, plugs of which few cavities are wrong."""

from tester.judge.geometry import Geometry, rearrangements


def row(connector, *numbers):
    return tuple(f"{connector}-{n}" for n in numbers)


def test_a_connector_without_a_face_is_one_row_in_order_of_numbers_from_zero():
    geometry = Geometry({"B": ()}, ["A-10", "A-0", "A-2", "B-1", "~joint"])
    assert geometry.rows == {"A": (("A-0", "A-2", "A-10"),), "B": (("B-1",),)}
    assert geometry.distance("A-0", "A-10") == 2 and geometry.connector("~joint") == ""


def test_a_face_that_is_given_counts_and_its_gaps_are_no_cavities():
    geometry = Geometry({"A": (("A-2", "", "A-1"),)}, ["A-1", "A-2"])
    assert geometry.offset("A-1", "A-2") == (0, -2) and geometry.connector("") == ""


def test_the_distance_is_the_larger_of_rows_and_columns():
    geometry = Geometry({"A": (row("A", 1, 2), row("A", 3, 4), row("A", 5, 6), row("A", 7, 8))}, [])
    assert geometry.distance("A-1", "A-8") == 3 == geometry.distance("A-8", "A-1")


def test_a_run_of_two_is_only_exchanged():
    geometry = Geometry({"A": (row("A", 1, 2),)}, [])
    found = list(rearrangements(geometry, ["A-1", "A-2"]))
    assert found and all(moved == {"A-1": "A-2", "A-2": "A-1"} for moved in found)


def test_a_row_is_offset_by_one_and_two_places_either_way_and_mirrored():
    names = row("A", 1, 2, 3, 4, 5, 6)
    found = list(rearrangements(Geometry({"A": (names,)}, []), names))
    places = [tuple(names.index(moved[name]) for name in names) for moved in found]
    offsets = {tuple((i + step) % 6 for i in range(6)) for step in (1, 2, 4, 5)}
    assert set(places) == offsets | {(5, 4, 3, 2, 1, 0)}


def test_a_mirrored_face_moves_only_cavities_that_are_wrong():
    names = row("A", 1, 2, 3, 4)
    found = list(rearrangements(Geometry({"A": (names,)}, []), ["A-1", "A-4"]))
    assert found and all(moved == {"A-1": "A-4", "A-4": "A-1"} for moved in found)


def plugs(wrong):
    geometry = Geometry({}, [*row("A", 0, 1, 2), *row("B", 0, 1, 2), *row("C", 0, 1, 2)])
    return [moved for moved in rearrangements(geometry, wrong) if any(a[0] != b[0] for a, b in moved.items())]


def test_plugs_are_exchanged_where_two_cavities_or_more_of_each_are_wrong():
    assert plugs(["A-1", "B-1"]) == []
    wanted = {"A-0": "B-0", "B-0": "A-0", "A-1": "B-1", "B-1": "A-1"}
    assert plugs(["A-0", "A-1", "B-0", "B-1"]) == [wanted]


def test_a_cavity_whose_twin_is_right_stays_out_of_an_exchange_of_plugs():
    wanted = {"B-0": "C-0", "C-0": "B-0", "B-1": "C-1", "C-1": "B-1"}
    assert plugs(["A-2", "B-0", "B-1", "C-0", "C-1", "~joint"]) == [wanted]
