"""Physical constants and the few numbers fixed by convention, each with its source."""

# Standard acceleration of gravity, 3rd CGPM 1901; the factor between "g" and m/s^2 in data sheets.
STANDARD_GRAVITY_M_S2 = 9.80665

# WGS-84 normal gravity (Somigliana): equatorial value, k and squared first eccentricity (NGA.STND.0036).
WGS84_EQUATOR_M_S2 = 9.7803253359
WGS84_SOMIGLIANA_K = 0.00193185265241
WGS84_ECCENTRICITY_SQUARED = 0.00669437999013
# Free-air gradient near the surface, m/s^2 per metre of height.
FREE_AIR_GRADIENT_S2 = 3.086e-6

# Length of the standing-start sprint of the protocol "sprint-100ft".
HUNDRED_FEET_M = 30.48

# Thigh (hip to knee) and shank (knee to ankle) as shares of body height: Drillis and Contini 1966, as given by Winter,
# Biomechanics and Motor Control of Human Movement.
THIGH_OF_HEIGHT, SHANK_OF_HEIGHT = 0.245, 0.246

SIDES = ("left", "right")
SKATES = ("left_skate", "right_skate")
PLACES = (
    *SKATES,
    "left_shank",
    "right_shank",
    "left_thigh",
    "right_thigh",
    "left_wrist",
    "right_wrist",
    "pelvis",
    "trunk",
    "head",
)
