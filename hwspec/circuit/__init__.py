"""The board, described once: parts, values, pins and nets of cell, card, main board and starter board.

Everything else about the circuit (KiCad netlists, SPICE decks, parts lists, drawings, the channel table) is made
from here: ``python -m hwspec.circuit.generate``.
"""
