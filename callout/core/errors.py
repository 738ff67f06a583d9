"""The errors a person may see, split by whose fault they are.

Every error states what is wrong, with what value, and what to do. The command line turns each
into one line and an exit code; nothing else belongs here.
"""

from __future__ import annotations


class CalloutError(Exception):
    """Base of every error this program raises on purpose."""

    exit_code = 2


class OperatorError(CalloutError):
    """Something the person gave is wrong: an option, a file, a survey setting."""


class DeviceError(CalloutError):
    """A microphone, speaker, tape or speech engine cannot do what was asked."""


class StorageError(CalloutError):
    """The disk refused: full, read-only, gone, or holding something unexpected."""


class ProgrammerError(CalloutError):
    """A rule of our own code was broken; a defect to report."""

    exit_code = 70
