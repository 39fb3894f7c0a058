"""What can go wrong, told so that the reader knows what to do next."""


class CharprobeError(Exception):
    """A recording, recipe or output place cannot support the request.

    The message says what was found, where, why it matters, what to do, and what was kept.
    """


class SoundFileError(CharprobeError):
    """A sound file cannot be read or written as asked."""


class RecipeError(CharprobeError):
    """A recipe or cue sheet is not valid."""


class AlignmentError(CharprobeError):
    """The stimulus cannot be located in the capture."""


class OutputError(CharprobeError):
    """A result cannot be written where it was asked for."""


class ProfileError(CharprobeError):
    """A profile file is not valid."""


class ReplicaError(CharprobeError):
    """A replica file is not valid, or cannot do what it is asked for."""


class SessionError(CharprobeError):
    """A session file is not valid, or its folder is in use."""


class VoltsError(CharprobeError):
    """Typed voltmeter readings are not valid."""


class LiveError(CharprobeError):
    """Sound cannot be played and recorded as asked."""


class DeviceGoneError(LiveError):
    """A sound device or its server does not answer any more: nothing may be asked of it, or it hangs."""


class SegmentTooShortError(CharprobeError):
    """A segment holds too little sound for the estimate asked of it."""

    def __init__(self, *, found_s: float, needed_s: float) -> None:
        super().__init__(
            f"segment lasts {found_s:.3g} s, this estimate needs {needed_s:.3g} s: "
            "raise its duration in the recipe, render the stimulus again and re-record"
        )
