"""The years ahead, drawn many times over: when lots are ready, and how many of what there will be.

`stands.py` says what is given and what is answered.
"""

from service.forecast.numerics.stands import Task, Told


def simulate(task: Task, threads: int = 2) -> Told:
    """Draw the years ahead. The same task gives the same answer, whatever the threads."""
    raise NotImplementedError
