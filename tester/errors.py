"""The errors that a person can meet, split by what the person does next.

LoomwrightError
├── InputError    a file, a value or an option is wrong: mend it and run again        exit status 3
├── BoardError    the board or the link failed: nothing was judged                    exit status 4
└── StoreError    the result stands but could not be stored                           exit status 5

Anything else that escapes is our bug and also ends with exit status 5.
"""


class LoomwrightError(Exception):
    """Base of all errors that carry a message for the person. Never raised itself.

    `message` says what is wrong and where, `hint` the way out (may be empty).
    """

    exit_status = 5

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message}\n{self.hint}" if self.hint else self.message


class InputError(LoomwrightError):
    """A file, value or option that a person wrote is wrong.

    Situations: unknown key in a plan; a cavity that the connector lacks; a directory where a file should be.
    """

    exit_status = 3


class BoardError(LoomwrightError):
    """The board or the link failed, or it is not safe to drive.

    Situations: port in use, garbage on the line, a check sum that does not fit, a voltage on a cavity.
    `code` is a short stable word for programs: "port", "link", "protocol", "self-check", "voltage", "lease".
    """

    exit_status = 4

    def __init__(self, message: str, hint: str = "", code: str = "link") -> None:
        super().__init__(message, hint)
        self.code = code


class StoreError(LoomwrightError):
    """A record could not be written or read.

    Situations: full disk, read-only folder, a log of a newer version, a broken chain.
    """

    exit_status = 5


class OutputError(StoreError):
    """The result could not be written to standard output.

    Situations: standard output goes into a file on a full disk.
    """
