"""One run through the stages: cut, synchronise, orient, align, segment, measure, judge."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.blade import align
from imustride.body_run import USUAL_STRIDE_S, RunFrame, Worn, body_notes, body_of_run
from imustride.constants import SIDES, SKATES
from imustride.cutting.stance import cut
from imustride.errors import SignalQualityError
from imustride.frames import turned_vectors
from imustride.kinematics import Kinematics
from imustride.metrics.columns import in_contract_order, no_pushes
from imustride.metrics.courses import leg_courses
from imustride.metrics.limbs_of import places_with
from imustride.metrics.pushes import Foot, push_table
from imustride.orientation.stance import Rest
from imustride.quality.judging import judge
from imustride.registry import methods
from imustride.results import RunResult
from imustride.segmentation.contact import find_contacts
from imustride.segmentation.pushing import end_of_pushing
from imustride.settings import Settings
from imustride.synchronisation.shocks import synchronise
from imustride.trajectory.track import last_off, track

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import BodyPath, Clock, Cut, Gates
    from imustride.recording import Recording
    from imustride.trajectory.track import Tracks

# Ice shakes a gliding blade several times as much as a standing one (measured 8 times, simulated).
QUIET_RATIO = 1.5
# Sway of a degree moves the specific force by 0.17 m/s^2; braking is ten times that (common practice, no source).
LOG_END_S = 0.15
SETTLED_BLOCK_S, SETTLED_BLOCKS, SETTLED_M_S2 = 0.25, 4, 0.2
# Declared axes are nominal, within some 15 degrees; what lies twice as far off was declared wrongly.
WRONG_AXES_DEG = 30.0


def analyse_recordings(
    name: str,
    recordings: Mapping[str, Recording],
    settings: Settings | None = None,
    gates: Gates | None = None,
    worn: Worn | None = None,
) -> RunResult:
    """Analyse one run; where it goes wrong with the declared axes, see whether it does without them.

    Parameters
    ----------
    name : str
        Name of the run.
    recordings : mapping of place to Recording
        Calibrated. The first one's clock counts, unless it cannot be joined: then the first skate's.
    settings : Settings, optional
    gates : Gates, optional
    worn : Worn, optional
        How sensors sit on the rest of the body.

    Returns
    -------
    RunResult
        Without pushes where no skate can be analysed; with those of one foot where the other cannot.
    """
    settings = settings or Settings()
    worn = worn or Worn()
    found = analyse_as_declared(name, recordings, settings, gates, worn)
    if found.usable or all(recording.sensor.axes is None for recording in recordings.values()):
        return found
    bare = {
        place: replace(recording, sensor=recording.sensor.model_copy(update={"axes": None}))
        for place, recording in recordings.items()
    }
    free = analyse_as_declared(name, bare, settings, gates, worn)
    off_deg = {
        side: heading_between_deg(found.kinematics[side], moved)
        for side, moved in free.kinematics.items()
        if side in found.kinematics and recordings[f"{side}_skate"].sensor.axes is not None
    }
    wrong = {side: off for side, off in off_deg.items() if off > WRONG_AXES_DEG}
    if not wrong or not (free.usable or free.swapped):
        return found
    notes = [
        f"the declared axes of the {side} sensor point {off:.0f} degrees away from where the skate runs: they were "
        "not used; correct axes in session.toml"
        for side, off in wrong.items()
    ]
    return replace(free, notes=(*notes, *free.notes))


def heading_between_deg(one: Kinematics, other: Kinematics) -> float:
    """Return the angle between the forward axes that two alignments of the same skate found [deg]."""
    (x, y), (u, v) = one.angular_velocity_rad_s.T[:2], other.angular_velocity_rad_s.T[:2]
    return float(np.degrees(np.abs(np.arctan2(x @ v - y @ u, x @ u + y @ v))))


def analyse_as_declared(
    name: str, recordings: Mapping[str, Recording], settings: Settings, gates: Gates | None, worn: Worn
) -> RunResult:
    """Analyse one run with the axes as declared; see `analyse_recordings`."""
    cuts, faults = cut_all(recordings, settings)
    kinematics = move_all(recordings, cuts, faults, settings)
    if not kinematics:
        reason = "; ".join(faults.values()) or "no skate was recorded"
        return RunResult(name, no_pushes(), {}, {}, usable=False, reason=reason, gates=gates)
    clock, clocks = join_clocks(
        recordings, {place: cuts[place] for place in cuts if place not in faults}, settings
    )
    by_side = {side: clocks[f"{side}_skate"] for side in kinematics}
    contacts = {side: find_contacts(moved, settings.contact) for side, moved in kinematics.items()}
    cut_off_s = {side: end_in_motion_s(moved) for side, moved in kinematics.items()}
    counts = end_of_pushing(contacts, by_side, settings.pushing, cut_off_s)
    stands = {side: stands_after(recordings[f"{side}_skate"], cuts[f"{side}_skate"]) for side in kinematics}
    tracks = blade_paths(kinematics, by_side, pushing_only(contacts, counts), stands, gates, settings)
    paths = {side: path for some in tracks if not some.doubt for side, path in some.paths.items()}
    body = tracks[0].body if len(tracks) == 1 and paths else None
    feet = {
        side: Foot(kinematics[side], by_side[side], contacts[side], counts[side], paths.get(side))
        for side in kinematics
    }
    segments = body_of_run(recordings, run_frame(recordings, feet, clocks, body), worn, settings)
    pushes = in_contract_order(push_table(name, feet, list(methods("metrics").values()), segments))
    off_s = {side: contacts[side][: counts[side], 1] for side in kinematics}
    judgement = judge(kinematics, off_s, pushes, settings.quality)
    if judgement.swapped:
        pushes["flags"] = flagged(pushes["flags"], "sides_swapped")
    reason = "; ".join((*faults.values(), *judgement.faults))
    flag_tracks(pushes, tracks)
    notes = (*run_notes(recordings, by_side), *path_notes(tracks), *body_notes(segments))
    return RunResult(
        name, pushes, kinematics, by_side, usable=not reason, reason=reason, notes=notes, clock=clock,
        swapped=judgement.swapped, paths=paths, body=body, gates=gates, segments=segments,
        leg_courses=None if segments is None else leg_courses(pushes, segments, by_side),
    )  # fmt: skip


def run_frame(
    recordings: Mapping[str, Recording],
    feet: Mapping[str, Foot],
    clocks: Mapping[str, Clock],
    path: BodyPath | None,
) -> RunFrame:
    """Gather what the skates tell the rest of the body: from the first skate whose clock is that of the run."""
    side = next(side for side, foot in feet.items() if foot.clock.joined)
    strides_s = [np.diff(foot.contacts_s[1 : foot.pushes + 1, 0]) for foot in feet.values()]
    stride_s = float(np.nanmedian(np.concatenate([*strides_s, [USUAL_STRIDE_S]])))
    place = f"{side}_skate"
    both = {one: (recordings[f"{one}_skate"], foot.clock) for one, foot in feet.items() if foot.clock.joined}
    cut_ = feet[side].kinematics.cut
    # The body moves as soon as either foot does.
    ends_s = [np.asarray(feet[one].clock.reference(feet[one].kinematics.cut.stance_s[1])) for one in both]
    end_s = min(float(end) for end in clocks[place].own(np.array(ends_s)))
    return RunFrame(
        recordings[place],
        replace(cut_, stance_s=(cut_.stance_s[0], end_s)),
        clocks[place],
        path,
        stride_s,
        both,
    )


def flag_tracks(pushes: pd.DataFrame, tracks: Sequence[Tracks]) -> None:
    """Flag pushes whose path was refused or found against the gates, and those behind the last gate."""
    for some in tracks:
        of_feet = pushes["side"].isin(list(some.paths))
        for told, word in ((some.doubt, "path_doubtful"), (some.note, "gates_left_out")):
            if told:
                pushes.loc[of_feet, "flags"] = flagged(pushes.loc[of_feet, "flags"], word)
    body = tracks[0].body if len(tracks) == 1 and not tracks[0].doubt else None
    if body is not None and np.isfinite(body.gate_miss_m[-1:]).any():
        beyond = pushes["blade_off_s"] > body.gate_s[-1]
        pushes.loc[beyond, "flags"] = flagged(pushes.loc[beyond, "flags"], "after_finish")


def flag_unread(pushes: pd.DataFrame, places: Sequence[str]) -> None:
    """Flag pushes that go with sensors of the body whose file could not be read."""
    for side in SIDES:
        if not set(places_with(side).values()).isdisjoint(places):
            mine = pushes["side"] == side
            pushes.loc[mine, "flags"] = flagged(pushes.loc[mine, "flags"], "body_lost")


def flagged(flags: pd.Series[str], word: str) -> pd.Series[str]:
    """Return flags with one more word in every row."""
    return flags.where(flags == "", flags + ";") + word


def run_notes(recordings: Mapping[str, Recording], clocks: Mapping[str, Clock]) -> tuple[str, ...]:
    """Say what a reader of the run's figures should know."""
    notes = []
    if len(clocks) < len(SKATES):
        notes.append(f"only the {next(iter(clocks))} skate was measured: nothing across the feet")
    elif not all(clock.joined for clock in clocks.values()):
        notes.append(
            "no shared shock was found, the clocks are not joined: each foot is measured, nothing across the feet"
        )
    for place, recording in recordings.items():
        notes += [f"{place}: {note}" for note in recording.quality.notes]
        gaps = recording.quality.gaps
        if gaps:
            longest_s = max(end - begin for begin, end in gaps)
            notes.append(
                f"{place}: {len(gaps)} gap{'s' if len(gaps) > 1 else ''} in the log, the longest {longest_s:.2f} s"
            )
    return tuple(notes)


def cut_all(recordings: Mapping[str, Recording], settings: Settings) -> tuple[dict[str, Cut], dict[str, str]]:
    """Find the run in each skate and in the first recording; also why not, for skates in which it is not found."""
    cuts: dict[str, Cut] = {}
    faults: dict[str, str] = {}
    first = next(iter(recordings))
    for place, recording in recordings.items():
        if place not in SKATES and place != first:
            continue
        try:
            cuts[place] = cut(recording, settings.stance)
        except SignalQualityError as error:
            if place in SKATES:
                faults[place] = str(error)
    return cuts, faults


def move_all(
    recordings: Mapping[str, Recording], cuts: Mapping[str, Cut], faults: dict[str, str], settings: Settings
) -> dict[str, Kinematics]:
    """Orient and align each skate, by side; what speaks against one is added to `faults`."""
    kinematics: dict[str, Kinematics] = {}
    for place in cuts:
        if place in SKATES:
            try:
                kinematics[place.split("_")[0]] = move(recordings[place], cuts[place], settings)
            except SignalQualityError as error:
                faults[place] = str(error)
    return kinematics


def join_clocks(
    recordings: Mapping[str, Recording], cuts: Mapping[str, Cut], settings: Settings
) -> tuple[str, dict[str, Clock]]:
    """Join the clocks of the skates to that of the first recording, or else to that of the first skate.

    Returns
    -------
    clock : str
        Place whose clock counts.
    clocks : dict of place to Clock
    """
    skates = [place for place in cuts if place in SKATES]
    first = next(iter(recordings))
    if first in cuts and first not in skates:
        places = [first, *skates]
        clocks = synchronise({place: recordings[place] for place in places}, cuts, first, settings.shocks)
        if all(clocks[place].joined for place in skates):
            return first, clocks
    of_skates = {place: recordings[place] for place in skates}
    return skates[0], synchronise(of_skates, cuts, skates[0], settings.shocks)


def end_in_motion_s(moved: Kinematics) -> float:
    """End of the log [own clock, s] where the skate still moves then, else infinity."""
    end_s = moved.start_s + (len(moved.measured) - 1) / moved.rate_hz
    return end_s if moved.cut.motion_s[1] > end_s - LOG_END_S else np.inf


def pushing_only(
    contacts_s: Mapping[str, NDArray[np.float64]], counts: Mapping[str, int]
) -> dict[str, NDArray[np.float64]]:
    """Cut each side's contacts behind its last push: the glide that follows has no end."""
    out = {}
    for side, contacts in contacts_s.items():
        kept = contacts[: counts[side] + 1].copy()
        kept[counts[side] :, 1] = np.nan
        out[side] = kept
    return out


def blade_paths(
    kinematics: Mapping[str, Kinematics],
    clocks: Mapping[str, Clock],
    contacts_s: Mapping[str, NDArray[np.float64]],
    stands: Mapping[str, bool],
    gates: Gates | None,
    settings: Settings,
) -> list[Tracks]:
    """Track the blades of one run; both together where their clocks are joined, none in a run too long."""
    sprints = {
        side: moved
        for side, moved in kinematics.items()
        if np.isfinite(contacts_s[side][:, 1]).sum() > 1
        and last_off(contacts_s[side]) - moved.cut.stance_s[1] < settings.track.longest_s
    }
    together = len(sprints) == 2 and all(clock.joined for clock in clocks.values())
    groups = [list(sprints)] if together else [[side] for side in sprints]
    return [
        track({side: sprints[side] for side in group}, clocks, contacts_s, stands, gates, settings.track)
        for group in groups
    ]


def path_notes(tracks: Sequence[Tracks]) -> list[str]:
    """Say what was left out of the paths, and why there are none."""
    told = [some.note for some in tracks if some.note]
    return told + [f"{some.doubt}: what rests on the path stays empty" for some in tracks if some.doubt]


def stands_after(recording: Recording, cut_: Cut) -> bool:
    """Whether the quiet span after the motion is a stance."""
    stance = slice(recording.index(cut_.stance_s[0]), recording.index(cut_.stance_s[1]))
    return stop_slice(recording, cut_, stance) is not None


def stop_slice(recording: Recording, cut_: Cut, stance: slice) -> slice | None:
    """Return the stance after the stop, if the sensor is as quiet there as before the start.

    A two-foot glide may turn as little, but the ice shakes it.
    """
    if cut_.stop_s is None:
        return None
    stop = slice(recording.index(cut_.stop_s[0]), recording.index(cut_.stop_s[1]))
    before, after = (
        float(np.linalg.norm(np.diff(recording.acceleration_m_s2[span], axis=0).std(axis=0)))
        for span in (stance, stop)
    )
    return settled(recording, stop) if after < QUIET_RATIO * before else None


def settled(recording: Recording, stop: slice) -> slice | None:
    """Cut a quiet span to its last part in which the specific force stands still: braking may be smooth."""
    size = max(round(SETTLED_BLOCK_S * recording.rate_hz), 1)
    count = (stop.stop - stop.start) // size
    if count < SETTLED_BLOCKS:
        return None
    piece = recording.acceleration_m_s2[stop.stop - count * size : stop.stop]
    means = piece.reshape(count, size, 3).mean(axis=1)
    away = np.linalg.norm(means - np.median(means[-SETTLED_BLOCKS:], axis=0), axis=1)
    moving = np.flatnonzero(away > SETTLED_M_S2)
    kept = count - (int(moving[-1]) + 1 if len(moving) else 0)
    return slice(stop.stop - kept * size, stop.stop) if kept >= SETTLED_BLOCKS else None


def move(recording: Recording, cut_: Cut, settings: Settings) -> Kinematics:
    """Orient and align one skate."""
    stance = slice(recording.index(cut_.stance_s[0]), recording.index(cut_.stance_s[1]))
    estimate = methods("orientation")[settings.orientation].estimate
    stop = stop_slice(recording, cut_, stance)
    rest = Rest(stance, stop, ~recording.measured)
    earth_from_sensor = estimate(
        recording.angular_velocity_rad_s, recording.acceleration_m_s2, recording.rate_hz, rest
    )
    alignment = align(recording, earth_from_sensor, cut_, settings.blade)
    turn = alignment.segment_from_sensor
    return Kinematics(
        side="left" if recording.place == "left_skate" else "right",
        start_s=recording.start_s,
        rate_hz=recording.rate_hz,
        acceleration_m_s2=turned_vectors(turn, recording.acceleration_m_s2),
        angular_velocity_rad_s=turned_vectors(turn, recording.angular_velocity_rad_s),
        earth_from_segment=alignment.earth_from_segment,
        velocity_m_s=alignment.velocity_m_s,
        measured=recording.measured,
        clipped=recording.clipped,
        cut=cut_ if stop is not None else replace(cut_, stop_s=None),
        position_m=recording.sensor.position_m,
        bandwidth_hz=recording.sensor.bandwidth_hz or np.inf,
        forward_sd_rad=alignment.forward_sd_rad,
        velocity_until_s=alignment.known_until_s,
        rocker_radius_m=recording.sensor.rocker_radius_m,
    )
