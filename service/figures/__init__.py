"""Pictures of drills: poses of the pack, drawn as figures.

Apart from the engine because nothing here decides anything, and from the pages because the
compiler checks the same bodies that the pages show.
"""

from service.figures.draw import picture

__all__ = ["picture"]
