"""Touches between circuits, looked for without letting go of the held pattern.

One step lets go of a few held channels of one group of 16 for a fraction of a millisecond, everything else stays
driven: what then reads low touches another circuit. The channels of a step are driven high first, so that a long lead
follows in time. Should one touch a driven circuit at that moment, two pins work against each other through 920 ohm
each for the release time: 1.8 mA, and no more than 3.6 mA against several (hwspec/limits.toml, deck current).
"""

from .errors import ScpiError
from .expander import Expanders
from .limits import RELEASE_LONG_US, SLICE_ESTIMATE_MS
from .pins import Pins
from .scan import Scanner

GROUP = 16
_SIZE = 8
COST_STEP_US = 250


class Touches:
    """The steps of one watch, and the reading of each: eight bytes a step.

    0 number of the list, 1 group, 2 and 3 channels let go, 4 and 5 their first reading, 6 and 7 the newest (1 = high).
    """

    def __init__(self, driver: "Expanders | Pins", scanner: Scanner) -> None:
        self.driver = driver
        self.scanner = scanner
        self.forget()

    def forget(self) -> None:
        """No steps."""
        self._steps = bytearray(0)
        self.count = 0
        self._next = 0
        self._got = 0

    def compile(self, read: "list[int]", held: "list[int]", lists: "list[list[int]]") -> None:
        """Steps for each list, group by group. Raises -222 when a channel is not held or not read, or for too much."""
        self.forget()
        masks: dict[int, int] = {}
        for number in range(len(lists)):
            self.driver.guard.pump()
            for c in lists[number]:
                if c not in held or c not in read:
                    raise ScpiError(-222, "channel %d is not held and read" % c)
                key = number * 256 + (c - 1) // GROUP
                masks[key] = masks.get(key, 0) | 1 << (c - 1) % GROUP
        us = len(masks) * (COST_STEP_US + self._release_us() + self.scanner.fall_us)
        if us > SLICE_ESTIMATE_MS * 1000:
            raise ScpiError(-222, "would take about %d ms: more than %d" % (us // 1000, SLICE_ESTIMATE_MS))
        self._steps = bytearray(_SIZE * len(masks))
        self.count = len(masks)
        at = 0
        for key in sorted(masks):
            self._steps[at] = key // 256 + 1
            self._steps[at + 1] = key % 256
            self._steps[at + 2] = masks[key] & 255
            self._steps[at + 3] = masks[key] >> 8
            at += _SIZE

    def first(self, number: int, ports: "list[int]", levels: bytearray) -> None:
        """Play the steps of one list as the first readings; into `levels`, by port, what they let go (else high)."""
        steps = self._steps
        for i in range(len(levels)):
            levels[i] = 0xFF
        for at in range(0, len(steps), _SIZE):
            if steps[at] != number:
                continue
            got = self._look(at)
            self.driver.guard.pump()
            for k in (0, 1):
                level = got >> 8 * k & steps[at + 2 + k]
                steps[at + 4 + k] = steps[at + 6 + k] = level
                port = 2 * steps[at + 1] + k
                if port in ports:
                    levels[ports.index(port)] = level | 0xFF ^ steps[at + 2 + k]

    def _look(self, at: int) -> int:
        steps = self._steps
        release_us = self._release_us()
        return self.driver.let_go(steps[at + 1], steps[at + 2], steps[at + 3], release_us, self.scanner.fall_us)

    def _release_us(self) -> int:
        release_us = self.scanner.release_us
        return release_us if release_us < RELEASE_LONG_US else RELEASE_LONG_US

    def step(self) -> int:
        """Play the next step; where it lies when its reading changed, else -1. Allocates nothing."""
        at = self._next
        steps = self._steps
        self._next = at + _SIZE if at + _SIZE < len(steps) else 0
        got = self._look(at)
        if got & steps[at + 2] == steps[at + 6] and got >> 8 & steps[at + 3] == steps[at + 7]:
            return -1
        self._got = got
        return at

    def changes(self, at: int) -> "list[tuple[int, int, bool, bool]]":
        """Channels that the step at `at` saw begin or end to differ from their first reading in any list.

        Each is (channel, number of the list, differs now, first reading high).
        """
        steps = self._steps
        found = []
        for k in (0, 1):
            level = self._got >> 8 * k & steps[at + 2 + k]
            flipped = level ^ steps[at + 6 + k]
            steps[at + 6 + k] = level
            first = steps[at + 4 + k]
            for bit in range(8):
                mask = 1 << bit
                if flipped & mask and not self._differs_elsewhere(at, k, mask):
                    channel = GROUP * steps[at + 1] + 8 * k + bit + 1
                    found.append((channel, steps[at], level & mask != first & mask, first & mask != 0))
        return found

    def _differs_elsewhere(self, at: int, k: int, mask: int) -> bool:
        steps = self._steps
        for other in range(0, len(steps), _SIZE):
            if other != at and steps[other + 1] == steps[at + 1]:
                if (steps[other + 4 + k] ^ steps[other + 6 + k]) & mask:
                    return True
        return False
