"""A refusal on the command line: what, found, wanted, what to do; problems as JSON where JSON was asked for."""

import sys

from api.errors import problem_of
from api.output import write
from db.errors import RowsRefusedError

SHOWN_ERRORS = 50


def report(error: Exception, form: str) -> bool:
    """Print an error that is a refusal and say so; False for one that is a fault of the program."""
    problem = problem_of(error)
    if problem is None:
        return False
    if form == "json":
        write(problem.body(), "json")
    if not isinstance(error, RowsRefusedError):
        sys.stderr.write(f"refused: {problem.detail}\n")
    else:
        sys.stderr.write(f"refused: {error.counted(error.errors)}, nothing was kept\n")
        for row in error.errors[:SHOWN_ERRORS]:
            sys.stderr.write(f"  {row.told()}\n")
        more = len(error.errors) - SHOWN_ERRORS
        if more > 0:
            sys.stderr.write(f"  and {more} more; --format json lists them all\n")
    return True
