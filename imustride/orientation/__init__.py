"""Orient: from angular velocity and acceleration to the attitude of the sensor.

One file a method, each ending with a ``FILTER``. All share one signature::

    estimate(angular_velocity_rad_s, acceleration_m_s2, rate_hz, rest) -> earth_from_sensor

with signals of shape (n, 3) in sensor axes, the quiet stances in `Rest`, and the attitude of shape
(n, 3, 3) at the instants of the samples; earth z is up, the heading is arbitrary but continuous.
Every method removes the gyroscope's bias found in the stances first, and refuses NaN.
"""

from imustride.orientation.stance import Rest

__all__ = ["Rest"]
