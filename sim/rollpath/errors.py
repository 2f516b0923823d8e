"""The one error that everything refused by this package is a kind of. It imports nothing."""


class RollpathError(ValueError):
    """Something handed in cannot be used; the message says what was expected and what was found.

    Each room has its own kind below this one; whoever calls a job catches this.
    """
