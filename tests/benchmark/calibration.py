"""How exact a calibration by positions is, and whether its intervals hold the truth (simulated).

    python -m tests.benchmark.calibration --seeds 20000:21000

Invented sensors with known matrices (`tests/generators/table.py`), 12 positions set and held by hand for 3 s each at 200 Hz,
half of the sensors in counts. Limits were set on seeds below 6000.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from imustride.calibration.gyroscope import gyroscope_of_positions
from imustride.calibration.positions import find_positions
from imustride.calibration.triad import response
from imustride.errors import SignalQualityError
from tests.generators import table
from tests.generators.table import Conditions, G

CONDITIONS = {
    "hand-held": Conditions(),
    "hand-held, positions repeat to 0.3 mg": Conditions(repeat_m_s2=0.003),
    "strong tremor": Conditions(tremor_m_s2=0.1, tremor_rad=0.003, sway_rad=0.004),
    "laid down": Conditions(tremor_m_s2=0.003, tremor_rad=1e-4, sway_rad=1e-4),
}
TARGETS = np.array([2.0, 0.05, 0.05])
NAMES = ("bias [mg]", "scale [%]", "skew [deg]")


def errors(triad, bias, matrix, size):
    """Errors and half intervals of bias, scale and skew, shape (2, 3, 3), bias over `size`."""
    scale, skew = response(matrix)
    error = ((triad.correction.bias - bias) / size, 100 * (triad.scale / scale - 1), triad.skew_deg - skew)
    half = (triad.bias_sd / np.abs(size), 100 * triad.scale_sd / scale, triad.skew_sd_deg)
    return np.array([error, triad.interval * np.array(half)])


def one(conditions, seed):
    """Calibrate one invented sensor; None where it was refused."""
    rng = np.random.default_rng(seed)
    device = table.draw_device(rng, counts=seed % 2 == 1)
    recorded = table.record(rng, device, table.hand_set(rng), conditions)
    begin = time.perf_counter()
    try:
        found = find_positions(recorded.recording, G)
    except SignalQualityError:
        return None
    took_s = time.perf_counter() - begin
    size = np.linalg.norm(device.response, axis=1)
    accelerometer = errors(found.fit.triad, device.bias, device.matrix, size * G / 1000)
    gyroscope = gyroscope_of_positions(recorded.recording, found)
    rates = np.full((2, 3, 3), np.nan)
    if gyroscope is not None and gyroscope.measured:
        size = np.linalg.norm(device.rate_response, axis=1) * np.pi / 180
        rates = errors(gyroscope.triad, device.rate_bias, device.rate_matrix, size)
    return accelerometer, rates, int((~found.fit.used).sum()), took_s


def report(name, results):
    """Print the rows of one kind of recording."""
    done = [result for result in results if result is not None]
    accelerometer = np.array([result[0] for result in done])
    rates = np.array([result[1] for result in done])
    rates = rates[np.isfinite(rates).all(axis=(1, 2, 3))]
    worst = np.abs(accelerometer[:, 0]).max(axis=2)
    held = np.abs(accelerometer[:, 0]) <= accelerometer[:, 1]
    rates_held = np.abs(rates[:, 0]) <= rates[:, 1]
    left_out = sum(result[2] for result in done)
    print(f"{name}: {len(results)} sensors, refused {len(results) - len(done)}, positions left out {left_out}, "
          f"{1e3 * np.median([result[3] for result in done]):.0f} ms each")  # fmt: skip
    for number, what in enumerate(NAMES):
        print(
            f"  {what}: rms {np.sqrt(np.mean(accelerometer[:, 0, number] ** 2)):.3f}, worst axis at most "
            f"{np.quantile(worst[:, number], 0.95):.3f} in 95 %, {worst[:, number].max():.3f} in all; within "
            f"{TARGETS[number]:g}: {100 * np.mean(worst[:, number] <= TARGETS[number]):.1f} %; "
            f"held by the interval {100 * held[:, number].mean():.1f} %"
        )
    for number, what in enumerate(("bias [deg/s]", *NAMES[1:])):
        print(
            f"  gyroscope, {len(rates)} sensors, {what}: rms {np.sqrt(np.mean(rates[:, 0, number] ** 2)):.3f}, "
            f"held by the interval {100 * rates_held[:, number].mean():.1f} %"
        )


def main():
    """Run all kinds of recordings."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="20000:21000")
    parser.add_argument("--workers", type=int, default=1)
    arguments = parser.parse_args()
    first, last = map(int, arguments.seeds.split(":"))
    for name, conditions in CONDITIONS.items():
        with ProcessPoolExecutor(arguments.workers) as pool:
            results = list(pool.map(partial(one, conditions), range(first, last), chunksize=20))
        report(name, results)


if __name__ == "__main__":
    main()
