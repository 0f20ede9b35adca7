"""The columns of ``pushes.csv``: those of the contract in its order, then further metrics, flags last."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import methods

if TYPE_CHECKING:
    import pandas as pd

CONTRACT = (
    "run", "side", "push", "phase", "blade_on_s", "blade_off_s", "contact_time_s", "swing_time_s", "stride_time_s",
    "stride_rate_hz", "step_time_s", "double_support_s", "push_off_angular_velocity_deg_s", "edge_angle_deg",
    "track_angle_deg", "blade_speed_m_s", "stride_length_m", "stride_width_m", "lateral_travel_m",
)  # fmt: skip
TEXT = ("run", "side", "phase", "push_start_by", "flags")


def push_columns() -> list[str]:
    """Return the names of all columns in order."""
    more = [name for name in methods("metrics") if name not in CONTRACT]
    return [*CONTRACT, *more, "push_start_by", "flags"]


def in_contract_order(pushes: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with all columns in order, empty where nothing measures them."""
    return pushes.reindex(columns=push_columns())


def no_pushes() -> pd.DataFrame:
    """Return a table without rows, its columns of the right kinds."""
    import pandas as pd

    kinds = {name: str if name in TEXT else int if name == "push" else float for name in push_columns()}
    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()})
