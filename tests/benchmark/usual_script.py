"""The afternoon script this product replaces: what anybody writes first, from the usual libraries.

    python tests/benchmark/usual_script.py left.csv right.csv out.csv

Reads both skates' CSV files, filters, runs ahrs' Madgwick, takes peaks of the angular rate for pushes
and quiet vibration for contacts, and groups by side. It is the other side of the speed benchmark.
"""

import sys

import ahrs
import numpy as np
import pandas as pd
from scipy.signal import butter, filtfilt, find_peaks


def one_skate(path: str, side: str) -> pd.DataFrame:
    """Read one file (time in s, acceleration in m/s^2, rates in deg/s) and list its pushes."""
    data = pd.read_csv(path)
    time = data["time_s"].to_numpy()
    rate_hz = 1 / np.median(np.diff(time))
    acc = data[["ax", "ay", "az"]].to_numpy()
    gyr = np.radians(data[["gx", "gy", "gz"]].to_numpy())
    b, a = butter(4, 20 / (rate_hz / 2))
    acc_smooth, gyr_smooth = filtfilt(b, a, acc, axis=0), filtfilt(b, a, gyr, axis=0)
    q = ahrs.filters.Madgwick(gyr=gyr_smooth, acc=acc_smooth, frequency=rate_hz).Q
    up_y = 2 * (q[:, 2] * q[:, 3] + q[:, 0] * q[:, 1])  # lean of the sensor's y axis
    edge = np.degrees(np.arcsin(np.clip(up_y, -1, 1)))
    turning = np.degrees(np.linalg.norm(gyr_smooth, axis=1))
    b, a = butter(4, 60 / (rate_hz / 2), "high")
    shaking = filtfilt(b, a, np.linalg.norm(acc, axis=1))
    b, a = butter(2, 10 / (rate_hz / 2))
    on_ice = filtfilt(b, a, np.abs(shaking)) > np.median(np.abs(shaking))
    peaks, _ = find_peaks(turning, height=150, distance=int(0.4 * rate_hz))
    landings = np.flatnonzero(np.diff(on_ice.astype(int)) == 1)
    before = np.searchsorted(landings, peaks) - 1
    rows = []
    for peak, k in zip(peaks, before, strict=True):
        on = time[landings[k]] if k >= 0 else np.nan
        first = landings[k] if k >= 0 else max(peak - int(0.3 * rate_hz), 0)
        rows.append({
            "side": side, "blade_on_s": on, "blade_off_s": time[peak], "contact_time_s": time[peak] - on,
            "push_off_angular_velocity_deg_s": turning[peak], "edge_angle_deg": np.abs(edge[first : peak + 1]).max(),
        })  # fmt: skip
    pushes = pd.DataFrame(rows)
    pushes["stride_time_s"] = pushes["blade_off_s"].diff()
    return pushes


def main(left: str, right: str, out: str) -> pd.DataFrame:
    """Analyse both skates, write the table, return means by side."""
    pushes = pd.concat([one_skate(left, "left"), one_skate(right, "right")], ignore_index=True)
    pushes.to_csv(out, index=False)
    summary = pushes.groupby("side").agg(["mean", "std", "count"])
    means = summary.xs("mean", axis=1, level=1)
    print(summary.round(3).to_string())
    print((100 * (means.loc["right"] - means.loc["left"]) / means.mean()).round(1).to_string())
    return pushes


if __name__ == "__main__":
    main(*sys.argv[1:4])
