"""Drawings of the boards as SVG, made with schemdraw.

Every part is drawn from the description of its board: a part between two nets that it is not on raises, so a
drawing cannot show another circuit than the netlist. Only this package needs schemdraw.
"""
