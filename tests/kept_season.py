"""A store with a season made by hand: pushes with a planted course, no sensors behind them."""

from hashlib import sha256
from pathlib import Path

import numpy as np
import pandas as pd

from imustride.season.adding import Input, NewSession, add_session
from imustride.season.consent import Consent, record_consent
from imustride.season.store import open_store

FIRST_DAY = pd.Timestamp("2025-09-06")
PUSHES = 8  # of each foot
DAYS_APART = 14


def pushes_of_run(name, contact_s, index_percent, rng, noise_s=0.004):
    """Alternating pushes without a trend: contact `contact_s`, right against left by `index_percent`."""
    order = np.arange(2 * PUSHES)
    right = order % 2 == 1
    own_s = contact_s * (1 + np.where(right, 0.5, -0.5) * index_percent / 100)
    return pd.DataFrame(
        {
            "run": name,
            "side": np.where(right, "right", "left"),
            "push": order // 2 + 1,
            "phase": np.where(order < 6, "acceleration", "later"),
            "blade_off_s": 10.0 + 0.3 * order,
            "contact_time_s": own_s + rng.normal(0, noise_s, len(order)),
            "push_off_angular_velocity_deg_s": 600.0 + rng.normal(0, 10.0, len(order)),
            "stride_rate_hz": 1.6 + rng.normal(0, 0.03, len(order)),
            "flags": "",
        }
    )


def session(athlete, day, contacts_s, index_percent, rng, **facts):
    """One session, a run for each of `contacts_s`."""
    names = [f"run-{number}" for number, _ in enumerate(contacts_s, 1)]
    pushes = pd.concat(
        [pushes_of_run(n, c, index_percent, rng) for n, c in zip(names, contacts_s, strict=True)],
        ignore_index=True,
    )
    gate_s = [4.0 + 2.0 * contact_s for contact_s in contacts_s]
    runs = pd.DataFrame(
        {"run": names, "gate_time_s": gate_s, "pushes_left": PUSHES, "pushes_right": PUSHES}
    ).assign(usable=True, reason="")
    symmetry = pd.DataFrame({"phase": ["all"], "metric": ["contact_time_s"], "verdict": ["unclear"]})
    skate = {"mount": "holder", "rate_hz": 500.0, "bandwidth_hz": None, "calibrated": True}
    declared = {
        "athlete": athlete,
        "date": day.date().isoformat(),
        "name": "evening",
        "surface": "ice",
        "protocol": "sprint-100ft",
        "consent": "guardian",
        "conditions": {"skates": "old"},
        "sensors": [{"place": f"{side}_skate", **skate} for side in ("left", "right")],
        **facts,
    }
    mark = f"{athlete}{declared['date']}{declared['name']}"
    return NewSession(
        declared,
        {"pushes": pushes, "runs": runs, "symmetry": symmetry},
        {"pushes": mark},
        dict.fromkeys(("contact_time_s", "push_off_angular_velocity_deg_s", "stride_rate_hz"), 1),
        {"contact": {}},
        "0.1",
        [Input("log", "log.csv", sha256(mark.encode()).hexdigest())],
        Path(f"/results/{mark}"),
    )


def keep_season(place, courses, asymmetry=None, seed=1, session_s=0.004, runs=3, facts=None, consent=()):
    """Fill a store.

    Parameters
    ----------
    courses : dict
        By code the true contact time of every session [s].
    asymmetry : dict, optional
        By code the true symmetry index of every session [%]; default 0.
    facts : dict, optional
        By code and number of the session what is declared otherwise.
    consent : collection of str
        Codes without consent.
    """
    rng = np.random.default_rng(seed)
    store = open_store(str(place), create=True)
    for code, course in courses.items():
        for number, contact_s in enumerate(course):
            day = FIRST_DAY + pd.Timedelta(days=DAYS_APART * number)
            level_s = contact_s + rng.normal(0, session_s)
            contacts_s = level_s + rng.normal(0, session_s, runs)
            index = (asymmetry or {}).get(code, np.zeros(len(course)))[number] + rng.normal(0, 0.8)
            made = session(code, day, contacts_s, index, rng, **(facts or {}).get((code, number), {}))
            add_session(store, made, today=pd.Timestamp("2026-11-01").date())
        if code not in consent:
            given = Consent("guardian", FIRST_DAY.date(), ("season", "group"), None, assent=True)
            record_consent(store, code, given, birth_year=2012)
    return store
