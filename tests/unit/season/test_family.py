"""What names stand for, and which are refused."""

import pytest

from imustride.errors import SettingsError
from imustride.keeping import named_family
from imustride.season.family import SeasonSettings

SETTINGS = SeasonSettings()


def test_the_usual_family_is_six_of_three_kinds():
    family = named_family(SETTINGS)
    assert [one.name for one in family] == list(SETTINGS.family)
    assert [one.kind for one in family] == ["runs", "pushes", "pushes", "pushes", "asymmetry", "asymmetry"]
    assert {one.phase for one in family if one.kind != "runs"} == {"later"}


def test_units_follow_the_kind():
    names = ("peak_speed_m_s", "edge_angle_deg", "asymmetry:contact_time_s", "asymmetry:track_angle_deg")
    family = named_family(SETTINGS, names)
    assert [(one.metric, one.unit, one.phase, one.by_index) for one in family] == [
        ("peak_speed_m_s", "m/s", "all", False),
        ("edge_angle_deg", "deg", "later", False),
        ("contact_time_s", "%", "later", True),
        ("track_angle_deg", "deg", "later", False),  # can be zero: by the difference
    ]


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["edge_angle_deg"] * 2, "edge_angle_deg twice"),
        (["no_such_m"], "found 'no_such_m'; wanted a column of pushes.csv"),
        (["asymmetry:gate_time_s"], "found 'asymmetry:gate_time_s'"),
        (["peak_speed_m_s_sd"], "found 'peak_speed_m_s_sd'"),
        (["asymmetry:stride_width_m"], "is not compared left and right"),
        ([f"split_{k}_s" for k in range(7)], "found 7; wanted 1 to 6, chosen before looking"),
    ],
)
def test_what_cannot_be_followed_is_refused(names, said):
    with pytest.raises(SettingsError, match=said):
        named_family(SETTINGS, names)
