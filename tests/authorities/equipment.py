"""Equipment specifications of the World Pool-Billiard Association (WPA), as quoted by clubs and federations.

Source: WPA tournament table and equipment specifications, sections on playing surface, rails and sights, pocket
openings, and balls; inches are the specification's own unit. Quoted from public reprints, not from the original
document. Facts, no licence. The sizes that have no specification are common practice of the trade: measured
between the noses, a 7 ft table is 78 x 39 in, a home 8 ft table 88 x 44, a 10 ft table 112 x 56.
"""

INCH_MM = 25.4
BED_TOLERANCE_IN = 0.125
BED_IN = {"9ft": (100, 50), "8ft-pro": (92, 46)}
COMMON_PRACTICE_BED_IN = {"7ft": (78, 39), "8ft": (88, 44), "10ft": (112, 56)}
CORNER_MOUTH_IN = (4.5, 4.625)
SIDE_MOUTH_IN = (5.0, 5.125)
SIGHT_SPACING_IN = {"9ft": 12.5, "8ft-pro": 11.5}
SIGHTS = 18
BALL_DIAMETER_IN = 2.25

SNOOKER_BED_MM, SNOOKER_BED_TOLERANCE_MM = (3569, 1778), 13
"""Official Rules of the Games of Snooker and English Billiards, WPBSA, section 1, "The Standard Table", (a):
within the cushion faces 11 ft 8 1/2 in x 5 ft 10 in; quoted from public reprints."""
SNOOKER_BALL_MM, SNOOKER_BALL_TOLERANCE_MM = 52.5, 0.05
"""The same rules, section 1, on balls; from memory."""
