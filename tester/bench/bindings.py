"""Keys that work on every stage. Each has an id, so that a person can give it another key, and words for the help."""

from __future__ import annotations

from textual.binding import Binding, BindingType

EVERYWHERE: list[BindingType] = [
    Binding("question_mark,f1", "help", "help", id="help", tooltip="all keys of this screen, and what the signs mean"),
    Binding("g", "stages", "go to", id="stages", tooltip="go to another stage of this job, or to another job"),
    Binding("f", "flip", "flip", id="flip", tooltip="draw the connectors from their other side"),
    Binding("t", "find", "touch", id="find", tooltip="touch a terminal with the probe: which cavity, which circuit"),
    Binding("b", "note", "note", id="note", show=False, tooltip="write a note into the record"),
    Binding("p", "photo", "photo", id="photo", show=False, tooltip="add a photo to the record, by its file name"),
    Binding("v", "rehearse", "virtual", id="rehearse", show=False, tooltip="virtual board: change what is plugged in"),
    Binding("m", "sound", "sound on/off", id="sound", show=False, tooltip="sounds on or off"),
    Binding("l", "light", "light/dark", id="light", show=False, tooltip="light or dark colours"),
    Binding("colon", "command_palette", "commands", id="palette", show=False, tooltip="find any command by its name"),
    Binding("q", "leave", "leave", id="leave", tooltip="leave; the job is kept and taken up again at the same step"),
]
