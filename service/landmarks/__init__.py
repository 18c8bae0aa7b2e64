"""From frames of 2D body landmarks to measures and graded observations with their uncertainty.

Pure functions of the clip and the pack's cut-offs. Apart from the engine because pictures are
measured here and nothing is concluded from them.

Another layout is read by reordering its points into `coco17` or `body33` (tables in `layouts`);
a point that it lacks is sent with confidence 0.
"""

from service.landmarks.analyse import analyse

__all__ = ("analyse",)
