"""The errors a person may see, by whose fault they are.

Every error states what is wrong, with what value, and what to do. The command line turns each into
one line and an exit code; nothing else belongs here.
"""

from __future__ import annotations

from callout.core.saying import Saying, as_is


class CalloutError(Exception):
    """Base of every error this program raises on purpose.

    Its message is English text, or a saying where it may be shown to somebody at work.
    """

    exit_code = 2

    def __init__(self, told: str | Saying = "") -> None:
        super().__init__(told)

    def __str__(self) -> str:
        said = self.saying
        return str(said["text"] if said.key == "as-is" else said)

    @property
    def saying(self) -> Saying:
        """The message as a saying."""
        (told,) = self.args
        return told if isinstance(told, Saying) else as_is(str(told))


class OperatorError(CalloutError):
    """Something the person gave is wrong: an option, a file, a survey setting."""


class DeviceError(CalloutError):
    """A microphone, speaker, tape or speech engine cannot do what was asked."""


class StorageError(CalloutError):
    """The disk refused: full, read-only, gone, or holding something unexpected."""


class ProgrammerError(CalloutError):
    """A rule of our own code was broken; a defect to report."""

    exit_code = 70


class InUseError(OperatorError):
    """Another program of ours holds a survey or site at this moment."""
