"""Every sentence that a person reads about faults, steps and cautions. Pure."""

from tester.words.changes import change_says, count_changes, dropout_line, watch_line
from tester.words.faults import says
from tester.words.lists import counted, listed, ohms
from tester.words.readings import reading_lines
from tester.words.stages import CAUTIONS, STAGES, TRYING, connector_caution, stage_line
from tester.words.verdicts import (
    count_line,
    explanations,
    fault_lines,
    headline,
    lone_line,
    measured_faults,
    reach_lines,
    scope_line,
    untested_lines,
    verdict_lines,
)

__all__ = [
    "CAUTIONS",
    "STAGES",
    "TRYING",
    "change_says",
    "connector_caution",
    "count_changes",
    "count_line",
    "counted",
    "dropout_line",
    "explanations",
    "fault_lines",
    "headline",
    "listed",
    "lone_line",
    "measured_faults",
    "ohms",
    "reach_lines",
    "reading_lines",
    "says",
    "scope_line",
    "stage_line",
    "untested_lines",
    "verdict_lines",
    "watch_line",
]
