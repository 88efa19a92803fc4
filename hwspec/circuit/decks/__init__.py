"""SPICE decks of the board and what is read out of them.

A deck is a text that ngspice runs by itself (schematics/spice/NAME.cir) and that prints one line ``ROW ...`` for each
line of its table. ``python -m hwspec.circuit.decks`` runs all of them and writes schematics/spice/results.
"""
