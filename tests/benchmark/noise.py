"""Allan deviation: time against allantools, memory of hours, and how well the kinds of noise are told.

`python -m tests.benchmark.noise` prints three tables; `--hours 6 --rate 1000` sets the long recording.
"""

from __future__ import annotations

import argparse
import multiprocessing
import tempfile
import time
from pathlib import Path

import numpy as np

from imustride.calibration.allan import AllanSums, allan_deviation, cluster_lengths
from imustride.calibration.noise_terms import fit_terms
from tests.benchmark.speed import peak_memory_mb

RATE_HZ = 100.0
# Noise density, flicker, random walk of the third table; any unit.
MIXTURES = ((1e-2, 0.0, 0.0), (1e-2, 1e-3, 5e-5), (1e-2, 3e-3, 2e-4), (1e-2, 1e-3, 5e-4))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=6.0)
    parser.add_argument("--rate", type=float, default=1000.0)
    parser.add_argument("--series", type=int, default=60)
    options = parser.parse_args()
    against_allantools()
    print()
    long_recording(options.hours, options.rate)
    print()
    kinds(options.series)


def against_allantools() -> None:
    import allantools

    print(
        "| samples | averaging times | deviations alone: allantools, s | and limits: allantools, s | both: imustride, s | largest relative difference |"
    )
    print("|---|---|---|---|---|---|")
    for count in (10_000, 100_000, 1_000_000, 10_000_000):
        values = np.random.default_rng(count).normal(0.1, 0.02, count)
        lengths = cluster_lengths(count)

        def theirs(values=values, lengths=lengths):
            return allantools.oadev(values, rate=RATE_HZ, data_type="freq", taus=lengths / RATE_HZ)[1]

        def with_limits(lengths=lengths, count=count):
            return [
                allantools.confidence_interval(
                    1.0, allantools.edf_greenhall(0, 2, int(m), count + 1, overlapping=True), 0.95
                )
                for m in lengths
            ]

        alone_s, wanted = best(theirs)
        limits_s, _ = best(with_limits)
        ours_s, found = best(lambda v=values, m=lengths: allan_deviation(v, RATE_HZ, m).deviation[:, 0])
        difference = np.abs(found / wanted - 1).max()
        print(
            f"| {count} | {len(lengths)} | {alone_s:.4f} | {alone_s + limits_s:.4f} | {ours_s:.4f} | {difference:.1e} |"
        )


def best(call, repeats=3):
    """Shortest time of some calls [s], and what the call gives."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        found = call()
        times.append(time.perf_counter() - start)
    return min(times), found


def long_recording(hours: float, rate_hz: float) -> None:
    """Write a long HDF5 recording, then measure it in a process of its own."""
    import h5py

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "night.h5"
        count, piece = round(hours * 3600 * rate_hz), 1_000_000
        rng = np.random.default_rng(0)
        with h5py.File(path, "w") as file:
            stamps = file.create_dataset("t", (count,), "f8")
            triads = [file.create_dataset(name, (count, 3), "f4") for name in "ag"]
            for start in range(0, count, piece):
                stop = min(start + piece, count)
                stamps[start:stop] = np.arange(start, stop) / rate_hz
                for triad, level, sd in zip(
                    triads, ([0.1, -0.2, 9.81], [0.01, 0.0, 0.0]), (0.02, 0.002), strict=True
                ):
                    triad[start:stop] = level + rng.normal(0, sd, (stop - start, 3))
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            seconds, before, peak, tau_s = pool.apply(measured, (path,))
    print(
        f"{hours:g} h at {rate_hz:g} Hz ({count} samples, six axes, {8 * 7 * count / 1e6:.0f} MB as numbers): "
        f"{seconds:.1f} s, {peak - before:.0f} MB above the {before:.0f} MB of the libraries; longest averaging "
        f"time {tau_s:.0f} s"
    )


def measured(path: Path) -> tuple[float, float, float, float]:
    from imustride.noise_at_rest import LongFile, measure_file
    from imustride.session import Columns, Sensor, Units

    sensor = Sensor(
        place="trunk",
        device="S041",
        columns=Columns(time="t", acceleration="a", angular_velocity="g"),
        units=Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
    )
    before = peak_memory_mb()
    start = time.perf_counter()
    report = measure_file(LongFile(path, None, sensor))
    seconds = time.perf_counter() - start
    return seconds, before, peak_memory_mb(), float(report.noise.curve.tau_s[-1])


def kinds(series: int, rate_hz: float = 25.0, hours: float = 4.0) -> None:
    """Fit simulated mixtures of known noise."""
    count = round(hours * 3600 * rate_hz)
    print(f"{series} simulated series for each row, {hours:g} h at {rate_hz:g} Hz.")
    print()
    print(
        "| kind | put in | told in | mean found | scatter | stated SD | held by 1.96 SD | limit holds where not told |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for row, mixture in enumerate(MIXTURES):
        values = np.stack([made(count, rate_hz, mixture, seed=1000 * row + n) for n in range(series)], axis=1)
        sums = AllanSums(cluster_lengths(count), series)
        sums.add(values)
        curve = sums.curve(rate_hz)
        fits = [fit_terms(curve, axis) for axis in range(series)]
        for name, truth in zip(("noise_density", "flicker", "rate_random_walk"), mixture, strict=True):
            told = [fit.terms[name] for fit in fits if fit.terms[name].value is not None]
            limits = [fit.terms[name].below for fit in fits if fit.terms[name].value is None]
            found, sd = (np.array([getattr(one, key) for one in told]) for key in ("value", "sd"))
            cells = ["-"] * 4
            if told:
                held = 100 * np.mean(np.abs(found - truth) < 1.96 * sd)
                cells = [f"{found.mean():.3g}", f"{found.std():.2g}", f"{sd.mean():.2g}", f"{held:.0f} %"]
            limit = f"{100 * np.mean(np.array(limits) >= truth):.0f} %" if limits else "-"
            print(f"| {name} | {truth:g} | {len(told)} | {' | '.join(cells)} | {limit} |")


def made(count: int, rate_hz: float, mixture: tuple[float, float, float], seed: int) -> np.ndarray:
    """White, flicker (Kasdin 1995, fractional differences) and random walk noise in one series."""
    rng = np.random.default_rng(seed)
    density, flicker, walk = mixture
    values = density * np.sqrt(rate_hz) * rng.normal(size=count)
    values += walk / np.sqrt(rate_hz) * np.cumsum(rng.normal(size=count))
    if flicker:
        k = np.arange(1, count)
        response = np.concatenate(([1.0], np.cumprod((k - 0.5) / k)))
        white = np.fft.rfft(rng.normal(size=count), 2 * count) * np.fft.rfft(response, 2 * count)
        values += flicker * np.fft.irfft(white, 2 * count)[:count]
    return values


if __name__ == "__main__":
    main()
