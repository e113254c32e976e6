"""The refusals that a service may raise; pure, so that every layer may catch them."""


class Refusal(Exception):
    """A request that cannot be carried out; the message says what to do instead.

    ``field`` names the form field the message belongs beside, if there is one.
    """

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class Conflict(Refusal):
    """The record has moved on since the page was opened."""


class NotEnough(Refusal):
    """Less is on hand than was to be drawn."""
