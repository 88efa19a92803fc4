"""The virtual board: chip models, a circuit solver with the harness in it, and a real pseudo-terminal in front.

It knows registers, resistors and time. It knows nothing of plans or of what a harness should be. Start it with
``python -m hwspec.virtual --harness F --leads L``; README.md in this folder tells how it works and what it lacks.
"""
