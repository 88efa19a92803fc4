"""Firmware of the scan board: one package for MicroPython on the RP2040 and for CPython in the virtual board."""
