"""A run in closed form: two skates that stand, push seven times in turn, glide, stop. No simulator.

Every contact is a straight line at constant speed along the blade; the heel rises by a fifth-order step
about the toe, which stays on the ice; the toe's path in the air is a polynomial. So every event, angle and
rate is known before anything is sampled.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BPoly, make_interp_spline

from imustride.recording import SensorLog
from imustride.session import Sensor

G = 9.81
TOE = np.array([0.14, 0.0, 0.0])  # from the middle of the blade [m]
SENSOR = np.array([0.0, 0.02, 0.10])
END_S = 20.0
STANDING = ("left", "right")
SHOCKS_S = (1.2, 2.1, 18.4, 19.2)
STOP_S = (13.6, 15.2)  # both skates slow down to rest between these
LIFT_M = 0.08
HEEL_RISE_DEG = 28.0
RISE_S = (-0.07, 0.05)  # around blade-off
GRID_HZ = 2000.0


@dataclass(frozen=True)
class Push:
    """One contact: events [s], running direction [deg, outward], speed [m/s], largest edge [deg, inside]."""

    on_s: float
    off_s: float
    heading_deg: float
    speed_m_s: float
    edge_deg: float


# The right foot lifts first. Stride times 0.74 to 0.78 s; the first landings have a flight phase.
PUSHES = {
    "left": (
        Push(np.nan, 7.00, 0.0, 0.0, 14.0),
        Push(7.30, 7.66, 24.0, 3.2, 24.0),
        Push(8.02, 8.43, 17.0, 4.6, 27.0),
        Push(8.78, 9.20, 14.0, 5.5, 29.0),
        Push(9.55, 9.98, 13.0, 6.1, 30.0),
        Push(10.33, 10.77, 12.0, 6.5, 31.0),
        Push(11.11, 11.56, 11.0, 6.8, 31.0),
    ),
    "right": (
        Push(np.nan, 6.62, 0.0, 0.0, 9.0),
        Push(6.95, 7.28, 29.0, 2.2, 21.0),
        Push(7.65, 8.05, 20.0, 4.0, 25.0),
        Push(8.40, 8.82, 16.0, 5.1, 28.0),
        Push(9.16, 9.59, 13.0, 5.8, 28.0),
        Push(9.94, 10.38, 12.0, 6.3, 29.0),
        Push(10.72, 11.17, 12.0, 6.7, 30.0),
    ),
}
GLIDE_S = {"left": 11.90, "right": 11.50}  # landings after the last push; no push-off follows
GLIDE_M_S = 6.8


def fifth_order_step(time_s, from_s, to_s):
    """Step from 0 to 1 with zero rate and zero curvature at both ends."""
    u = np.clip((time_s - from_s) / (to_s - from_s), 0, 1)
    return u**3 * (10 - 15 * u + 6 * u**2)


def swings(side):
    """Blade-off, next blade-on, and the pushes before and after (None: glide)."""
    pushes = PUSHES[side]
    ons = [push.on_s for push in pushes[1:]] + [GLIDE_S[side]]
    return [
        (push.off_s, on_s, push, after)
        for push, on_s, after in zip(pushes, ons, (*pushes[1:], None), strict=True)
    ]


def angles(side, time_s):
    """Heading of the running direction, pitch and roll [rad]; outward and inside edge are to the left on the left."""
    sign = 1.0 if side == "left" else -1.0
    heading, pitch, roll = (np.zeros_like(time_s) for _ in range(3))
    for off_s, on_s, before, after in swings(side):
        next_heading = after.heading_deg if after else 0.0
        heading += (next_heading - before.heading_deg) * fifth_order_step(
            time_s, off_s + RISE_S[1], on_s - 0.02
        )
        rise = fifth_order_step(time_s, off_s + RISE_S[0], off_s + RISE_S[1])
        pitch += HEEL_RISE_DEG * (rise - fifth_order_step(time_s, off_s + RISE_S[1], on_s - 0.03))
        begin_s = 6.3 if np.isnan(before.on_s) else before.on_s
        lean = fifth_order_step(time_s, begin_s, off_s - 0.10)
        roll += before.edge_deg * (lean - fifth_order_step(time_s, off_s + RISE_S[1], on_s - 0.02))
    return sign * np.radians(heading), np.radians(pitch), sign * np.radians(roll)


class Skate:
    """One skate's motion at any times, from splines through what is known in closed form."""

    def __init__(self, side):
        self.side = side
        self.grid_s = np.arange(0.0, END_S, 1 / GRID_HZ)
        heading, pitch, roll = angles(side, self.grid_s)
        # The blade slides along (y x z): with the edge down and the toe pitched the yaw is not the running direction.
        yaw = heading + np.arctan(np.sin(pitch) * np.tan(roll))
        self.euler = make_interp_spline(self.grid_s, np.stack([yaw, pitch, roll], axis=1), k=5)
        self.path = self._path()

    def _path(self):
        """Toe on the ice plane, fifth order between the ends of contacts: BPoly of x and y."""
        sign = 1.0 if self.side == "left" else -1.0
        times, states = [0.0], [np.zeros((3, 2))]
        place, velocity = np.zeros(2), np.zeros(2)
        for off_s, on_s, before, after in swings(self.side):
            heading = np.radians(after.heading_deg) * sign if after else 0.0
            speed = after.speed_m_s if after else GLIDE_M_S
            following = speed * np.array([np.cos(heading), np.sin(heading)])
            if not np.isnan(before.on_s):
                place = place + velocity * (off_s - before.on_s)
            times.append(off_s)
            states.append(np.stack([place, velocity, np.zeros(2)]))
            along = 0.5 * (velocity + following)[0] * (on_s - off_s)
            place, velocity = np.array([place[0] + along, 0.1 * sign]), following
            times.append(on_s)
            states.append(np.stack([place, velocity, np.zeros(2)]))
        place = place + velocity * (STOP_S[0] - times[-1])
        times += [*STOP_S, END_S]
        states.append(np.stack([place, velocity, np.zeros(2)]))
        place = place + 0.5 * velocity * (STOP_S[1] - STOP_S[0])
        states += [np.stack([place, np.zeros(2), np.zeros(2)])] * 2
        return BPoly.from_derivatives(times, states)

    def touching(self, time_s):
        """Whether the blade is on the ice."""
        return ~np.any([(time_s > off_s) & (time_s < on_s) for off_s, on_s, *_ in swings(self.side)], axis=0)

    def lift(self, time_s):
        """Acceleration of the toe upwards: the height is 16 u^2 (1 - u)^2 of LIFT_M in every swing."""
        out = np.zeros_like(time_s)
        for off_s, on_s, *_ in swings(self.side):
            u = (time_s - off_s) / (on_s - off_s)
            inside = (u > 0) & (u < 1)
            out[inside] += 16 * LIFT_M / (on_s - off_s) ** 2 * (2 - 12 * u + 12 * u**2)[inside]
        return out

    def attitude(self, time_s):
        """earth_from_segment, shape (n, 3, 3)."""
        (cy, cp, cr), (sy, sp, sr) = np.cos(self.euler(time_s)).T, np.sin(self.euler(time_s)).T
        rows = [
            [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
            [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
            [-sp, cp * sr, cp * cr],
        ]
        return np.array(rows).transpose(2, 0, 1)

    def turning(self, time_s):
        """Angular velocity [rad/s] and acceleration [rad/s^2] in segment axes, shape (n, 3) each."""
        (_, pitch, roll), (dy, dp, dr), (ddy, ddp, ddr) = (
            self.euler(time_s, nu=order).T for order in range(3)
        )
        sp, cp, sr, cr = np.sin(pitch), np.cos(pitch), np.sin(roll), np.cos(roll)
        rate = np.stack([dr - sp * dy, cr * dp + sr * cp * dy, -sr * dp + cr * cp * dy], axis=1)
        change = [
            ddr - sp * ddy - cp * dp * dy,
            cr * ddp + sr * cp * ddy - sr * dr * dp + (cr * cp * dr - sr * sp * dp) * dy,
            -sr * ddp + cr * cp * ddy - cr * dr * dp - (sr * cp * dr + cr * sp * dp) * dy,
        ]
        return rate, np.stack(change, axis=1)

    def force(self, time_s):
        """Specific force at the sensor, segment axes [m/s^2], shape (n, 3)."""
        pull = np.column_stack([self.path(time_s, nu=2), self.lift(time_s) + G])
        rate, change = self.turning(time_s)
        arm = np.broadcast_to(SENSOR - TOE, rate.shape)
        swept = np.cross(change, arm) + np.cross(rate, np.cross(rate, arm))
        return np.einsum("nji,nj->ni", self.attitude(time_s), pull) + swept

    def ice(self, time_s):
        """Shaking by the ice, in proportion to the speed, and the shared shocks [m/s^2], shape (n, 3)."""
        speed = np.linalg.norm(self.path(time_s, nu=1), axis=1) * self.touching(time_s)
        number = 1.0 if self.side == "left" else 2.0
        hum = [
            sum(np.sin(2 * np.pi * hz * time_s + number * hz + 2 * axis) for hz in (53.0, 67.0, 78.0, 89.0))
            for axis in range(3)
        ]
        braking = (time_s > STOP_S[0]) & (time_s < STOP_S[1])
        out = (0.2 * speed + 0.5 * braking)[:, None] * np.array(hum).T  # scrapes until it rests
        for shock in SHOCKS_S:
            late = np.clip(time_s - shock, 0, None)
            out[:, 2] += 25.0 * np.exp(-late / 0.02) * np.sin(2 * np.pi * 45.0 * late)
        return out


def skate_log(
    side,
    rate_hz,
    segment_from_sensor,
    offset_s=0.0,
    drift=0.0,
    seed=0,
    gyro_bias_deg_s=0.4,
    noise=1.0,
    **declared,
):
    """The log of one skate's sensor, on its own clock: own = (true + offset) (1 + drift)."""
    rng = np.random.default_rng(seed)
    true_s = np.arange(0.02, END_S - 0.02, 1 / rate_hz)
    skate = Skate(side)
    rate, _ = skate.turning(true_s)
    force = skate.force(true_s) + skate.ice(true_s) + rng.normal(0, 0.03 * noise, rate.shape)
    bias_deg_s = (gyro_bias_deg_s, -gyro_bias_deg_s, 0.5 * gyro_bias_deg_s)
    rate = rate + np.radians(rng.normal(bias_deg_s, 0.1 * noise, rate.shape))
    return SensorLog(
        sensor=Sensor(place=f"{side}_skate", **declared),
        time_s=(true_s + offset_s) * (1 + drift),
        acceleration_m_s2=force @ segment_from_sensor,
        angular_velocity_rad_s=rate @ segment_from_sensor,
    )


def true_rows(side):
    """What an analysis should find of each push of a foot, true time; push 0 of the right foot lifts first."""
    skate = Skate(side)
    rows = []
    for off_s, on_s, push, _ in swings(side):
        window = np.arange(off_s - 0.15, off_s + 0.10, 1 / GRID_HZ)
        rate, _ = skate.turning(window)
        rows.append({
            "blade_on_s": push.on_s,
            "blade_off_s": off_s,
            "contact_time_s": off_s - push.on_s,
            "swing_time_s": on_s - off_s,
            "stride_time_s": on_s - push.on_s,
            "edge_angle_deg": push.edge_deg,
            "push_off_angular_velocity_deg_s": float(np.degrees(rate[:, 1].max())),
        })  # fmt: skip
    return rows
