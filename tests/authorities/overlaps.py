"""The classic overlap table: how much of the object ball the cue ball covers, and the cut that it gives.

Source: from memory; the table stands in this form in most introductions to the game (for instance in the
instructional chapters of rule books), and follows from sin(cut) = 1 - overlap. Degrees to two decimals. The
numbers are facts and carry no licence.
"""

from fractions import Fraction

CUT_DEG_BY_OVERLAP = {
    Fraction(1): 0.00,
    Fraction(7, 8): 7.18,
    Fraction(3, 4): 14.48,
    Fraction(5, 8): 22.02,
    Fraction(1, 2): 30.00,
    Fraction(3, 8): 38.68,
    Fraction(1, 4): 48.59,
    Fraction(1, 8): 61.04,
}
LAST_DIGIT_DEG = 0.005
"""Half a unit of the last printed digit."""
