"""What only the full build has: converter, measurements, calibration, self-test."""

from .calibrate import Calibrator
from .calibration import Calibration
from .expander import Expanders
from .guard import Guard
from .measure import Meter
from .resistance import Ohmmeter
from .safety import Safety
from .scan import Scanner
from .selftest import SelfTest

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


class Bench:
    """The measuring part, put together."""

    def __init__(self, hal: "Hal", guard: Guard, driver: Expanders, safety: Safety, scanner: Scanner) -> None:
        self.meter = Meter(hal, guard, driver, safety)
        self.calibration = Calibration(hal, driver.channels, guard)
        self.ohmmeter = Ohmmeter(self.meter, self.calibration)
        self.calibrator = Calibrator(self.ohmmeter)
        self.selftest = SelfTest(self.ohmmeter, scanner)
