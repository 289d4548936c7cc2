"""What can go wrong in the arithmetic, one small tree."""


class LifecycleError(Exception):
    """Base of all errors of this package; the message names the thing, the value found and the value wanted."""


class BadRecordsError(LifecycleError):
    """The frames handed in do not have the columns, types or relations that `observations` declares."""


class MissingAssumptionError(LifecycleError):
    """A figure needs an assumption that nobody has entered for this scope and day."""


class BadAssumptionError(LifecycleError):
    """An assumption has a value, unit or range that cannot be used."""


class NotEnoughDataError(LifecycleError):
    """The records carry too little to answer the question asked."""


class UnknownBaseError(LifecycleError):
    """A base was asked for that is not on record."""
