"""IEEE 488.2 status: event status register, its mask, service request mask, status byte."""

from .errors import ErrorQueue, ScpiError

OPERATION_COMPLETE = 1
QUERY_ERROR = 4
DEVICE_ERROR = 8
EXECUTION_ERROR = 16
COMMAND_ERROR = 32
POWER_ON = 128


def event_bit(number: int) -> int:
    """Bit of the event status register that an error number sets (SCPI-99: by its hundred)."""
    hundred = -number // 100
    if hundred == 1:
        return COMMAND_ERROR
    if hundred == 2:
        return EXECUTION_ERROR
    if hundred == 3:
        return DEVICE_ERROR
    return QUERY_ERROR


class Status:
    """The registers behind *ESR? *ESE *SRE *STB? and the error queue."""

    def __init__(self) -> None:
        self.errors = ErrorQueue()
        self.events = POWER_ON
        self.event_mask = 0
        self.service_mask = 0

    def report(self, error: ScpiError) -> None:
        """Queue an error and set its event bit."""
        self.errors.push(error)
        self.events |= event_bit(error.number)

    def read_events(self) -> int:
        """*ESR?: the event register, cleared by reading."""
        events = self.events
        self.events = 0
        return events

    def byte(self, message_available: bool) -> int:
        """*STB?: bit 2 error queue, bit 4 message available, bit 5 event summary, bit 6 master summary."""
        value = 0
        if len(self.errors):
            value |= 4
        if message_available:
            value |= 16
        if self.events & self.event_mask:
            value |= 32
        if value & self.service_mask & 0xBF:
            value |= 64
        return value

    def clear(self) -> None:
        """*CLS: event register and error queue; masks stay."""
        self.events = 0
        self.errors.clear()
