"""Every limit of the check of sensors, in physical units."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CheckLimits:
    """From where on a check warns, and from where on it fails (first and second number of each pair).

    Common practice, no source, unless said. Behind each limit stands what the analysis loses there.
    """

    # One sample is 10 ms at 100 Hz, longer than half of all timing errors of the analysis at 200 Hz.
    rate_hz: tuple[float, float] = (190.0, 95.0)
    # Limbs and trunk are not timed by vibration: what they do lies below 20 Hz.
    body_rate_hz: tuple[float, float] = (95.0, 47.5)
    # Stamps that jitter are laid on a straight line; beyond, lost samples can no longer be counted.
    jitter_periods: tuple[float, float] = (0.15, 0.35)
    # A skate turns by up to 1 degree a millisecond at push-off: what a gap takes is lost from the attitude.
    gap_share: tuple[float, float] = (0.0, 0.005)
    gap_longest_s: tuple[float, float] = (0.0, 0.05)
    bridged_share: tuple[float, float] = (0.01, 0.10)
    # Landings clip an accelerometer of 16 g for some milliseconds and do no harm (quality: 2 % of the motion).
    clipped_share: tuple[float, float] = (0.008, 0.02)
    # Angular velocity that is cut off is lost from the attitude for good: 20 ms just above 2000 deg/s are a degree or two.
    clipped_rate_s: tuple[float, float] = (0.02, 0.10)
    acceleration_range_g: tuple[float, float] = (15.9, 7.9)
    # Push-off turns a skate at 250 to 900 deg/s, the swing faster; +-500 ruins the path.
    angular_velocity_range_deg_s: tuple[float, float] = (1990.0, 990.0)
    # Off the skates landings are softer and nothing turns as fast.
    body_acceleration_range_g: tuple[float, float] = (7.9, 3.9)
    body_angular_velocity_range_deg_s: tuple[float, float] = (990.0, 490.0)
    # A band above 60 Hz tells ice vibration from swing accelerations; at 50 Hz little of it is left.
    bandwidth_hz: tuple[float, float] = (45.0, 30.0)
    # Low-cost sensors: 0.1 to 0.4 mg/sqrt(Hz) and 0.004 to 0.02 deg/s/sqrt(Hz) in data sheets; ten times that is a fault.
    acceleration_noise_m_s2_hz: tuple[float, float] = (0.02, 0.06)
    angular_velocity_noise_deg_s_hz: tuple[float, float] = (0.06, 0.25)
    # A calibrated triad errs by some 2 mg, and by up to 10 mg an axis in the cold (0.5 mg/K); an uncalibrated one by 30 mg.
    gravity_calibrated: tuple[float, float] = (0.02, 0.04)
    gravity_uncalibrated: tuple[float, float] = (0.035, 0.06)
    gyro_bias_deg_s: tuple[float, float] = (4.0, 10.0)
    # Integrated over a run the gyroscope turns gravity to where it is after the stop: within 1 or 2 degrees (simulated).
    # With gaps or a sensor that slipped it is further off: the second limit, where no reversed sign explains it.
    gravity_turned_deg: tuple[float, float] = (5.0, 60.0)
    # Declared axes are nominal, within some 15 degrees, and people stand on an edge of up to 13 degrees.
    tilt_deg: tuple[float, float] = (28.0, 45.0)
    # As `quality.mounting`: how far a standing skate may be tilted against the stance before the start.
    turned_pitch_deg: tuple[float, float] = (8.0, 8.0)
    turned_roll_deg: tuple[float, float] = (20.0, 20.0)
    axes_off_deg: tuple[float, float] = (35.0, 50.0)
    # A tight sensor rings far above 100 Hz, or dies within some 30 ms, as skate and boot do.
    ring_s: tuple[float, float] = (0.045, 0.045)
    # A strap or a bolted joint damps by some 1 to 6 %; a device's own low pass and a foot by 15 to 70 %.
    ring_damping: float = 0.12
    ring_hz: tuple[float, float] = (8.0, 90.0)  # lowest, highest
    ring_deg_s: float = 0.7
    ring_m_s2: float = 0.4
    # Quartz is good to 30 ppm, and loses 20 more in the cold (tuning fork, 0.034 ppm/K^2): two differ by 100 at most.
    drift: tuple[float, float] = (150e-6, 500e-6)
    clock_sd_s: tuple[float, float] = (0.003, 0.006)
    # How well squats show the forward axis of a segment: its error goes into sideways angles nearly whole, into flexion
    # by its cosine. Beyond the second limit nothing that needs the axis is measured (`alignment.fitting`).
    forward_sd_deg: tuple[float, float] = (6.0, 12.0)
    # A lag of arms or shoulders is wanted to 10 ms; heels dropped together are felt blurred further up.
    body_clock_sd_s: tuple[float, float] = (0.010, 0.020)
    # Beyond it no angle against the lane is measured (`metrics.limbs`).
    heading_sd_deg: float = 8.0
    calibration_days: tuple[float, float] = (45.0, 366.0)
    stance_s: tuple[float, float] = (2.0, 0.8)
    still_s: tuple[float, float] = (2.5, 1.0)  # in the guided form
    shocks_each: int = 1  # before the run, and after it
    # Logs of one run that end this far apart were not worn through the same run.
    shorter_s: tuple[float, float] = (2.0, 5.0)
    lone_blow: float = 4.0  # how many times larger a tap is on the tapped skate
