"""Large letters for the one thing that must be read from an arm's length: three lines tall, any script falls back."""

from __future__ import annotations

_FONT = {
    "0": "111101101101111", "1": "010110010010111", "2": "111001111100111", "3": "111001011001111",
    "4": "101101111001001", "5": "111100111001111", "6": "111100111101111", "7": "111001010010010",
    "8": "111101111101111", "9": "111101111001111", "A": "010101111101101", "B": "110101110101110",
    "C": "111100100100111", "D": "110101101101110", "E": "111100110100111", "F": "111100110100100",
    "G": "111100101101111", "H": "101101111101101", "I": "111010010010111", "J": "001001001101111",
    "K": "101101110101101", "L": "100100100100111", "M": "101111111101101", "N": "110101101101101",
    "O": "111101101101111", "P": "111101111100100", "Q": "111101101111001", "R": "110101110101101",
    "S": "111100111001111", "T": "111010010010010", "U": "101101101101111", "V": "101101101101010",
    "W": "101101111111101", "X": "101101010101101", "Y": "101101111010010", "Z": "111001010100111",
    "-": "000000111000000", ".": "000000000000010", "_": "000000000000111", " ": "000000000000000",
    "/": "001001010100100", "+": "000010111010000", "→": "000010111010000",
}  # fmt: skip
_HALVES = {"00": " ", "10": "▀", "01": "▄", "11": "█"}
HEIGHT = 3


def big(text: str, room: int) -> list[str]:
    """Three lines of block letters, or one line of the text itself where a letter is unknown or room is short."""
    upper = text.upper()
    if any(char not in _FONT for char in upper) or len(upper) * 4 - 1 > room:
        return [text]
    lines = []
    for top in (0, 2, 4):
        cells = []
        for char in upper:
            dots = _FONT[char]
            above = dots[top * 3 : top * 3 + 3]
            below = dots[top * 3 + 3 : top * 3 + 6] if top < 4 else "000"
            cells.append("".join(_HALVES[a + b] for a, b in zip(above, below, strict=True)))
        lines.append(" ".join(cells))
    return lines
