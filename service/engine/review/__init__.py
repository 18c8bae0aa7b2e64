"""A second look: did it work, and what follows.

Apart from the plan because a plan knows one day.
"""

from service.engine.review.review import review

__all__ = ["review"]
