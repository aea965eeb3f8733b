"""Published numbers about eyes.

The mean distance between the pupils of adults is about 63 mm, the great majority within 50 to 75 mm. Source:
N. A. Dodgson, "Variation and extrema of human interpupillary distance", Proc. SPIE 5291 (2004) 36-46; from memory.
"""

PUPIL_DISTANCE_MM = 63.0
PUPIL_DISTANCE_RANGE_MM = (50.0, 75.0)
