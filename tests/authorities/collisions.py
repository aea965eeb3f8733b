"""Published numbers about colliding balls.

NATURAL_ROLL: a rolling cue ball that hits a still ball half full is turned by 33.7 degrees, and the largest turn,
33.75 degrees, comes at sin^2(cut) = 2/9. Source: the technical proofs on the "30 degree rule" that accompany the
instructional literature of the 2000s and R. Onoda, "Comment on 'Analysis of billiard ball collisions in two
dimensions'", American Journal of Physics 57 (1989) 476; from memory.

RIGHT_ANGLE: equal balls without spin or friction part at 90 degrees (any textbook of mechanics; for instance
Feynman, Lectures on Physics I, chapter 10, from memory).

CORIOLIS: a sliding ball that comes to roll keeps 5/7 of the velocity it had without spin. Source: G. G. Coriolis,
"Theorie mathematique des effets du jeu de billard", Paris 1835; from memory.

FRICTION: the friction between two balls against the speed of slip, mu(v) = 9.951e-3 + 0.108 exp(-1.088 v), v in
m/s: a fit by D. Alciatore to measurements of W. Marlow, "The Physics of Pocket Billiards" (1995); from memory.
THROW_MAXIMA: largest throw of a stun hit over all cuts, in degrees, by speed in m/s, as that model gives it,
rounded from first_principles.txt. INCH_A_FOOT: the remembered rule that a ball is thrown an inch in a foot.

TWO_SEVENTHS: a gripping (not sliding) impact gives a tangential impulse of slip / 7 per mass between equal solid
spheres: 2/7 of the reduced mass (textbook; from memory).
"""

NATURAL_ROLL_HALF_BALL_DEG = 33.7
NATURAL_ROLL_LAST_DIGIT_DEG = 0.05
NATURAL_ROLL_MAXIMUM_SIN2 = 2 / 9
RIGHT_ANGLE_DEG = 90.0
CORIOLIS_PART = 5 / 7
FRICTION_FIT = (9.951e-3, 0.108, 1.088)
THROW_MAXIMA_DEG = {0.45: 5.3, 1.0: 4.3, 2.0: 3.3}
THROW_LAST_DIGIT_DEG = 0.05
INCH_A_FOOT_DEG = 4.8
GRIP_PART = 1 / 7
