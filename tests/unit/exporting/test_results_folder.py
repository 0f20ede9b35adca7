import json
import os
import subprocess
import sys

import h5py
import numpy as np
import pandas as pd
import pytest

from imustride.errors import FileFormatError, SettingsError
from imustride.exporting import check_target, sha256, verify, write_results
from imustride.exporting.dictionary import data_package
from imustride.exporting.swap import swapped_in
from imustride.kinematics import Gates
from imustride.metrics.columns import no_pushes
from imustride.metrics.runs import run_row, run_table

PAGES = {"summary.html": "<p>é</p>"}
FILES = {
    "pushes.csv",
    "runs.csv",
    "symmetry.csv",
    "session.h5",
    "summary.html",
    "datapackage.json",
    "provenance.json",
}


@pytest.fixture
def out(tmp_path, result):
    write_results(result, tmp_path / "results", PAGES)
    return tmp_path / "results"


@pytest.fixture
def gone():
    """Return the number of a process that has ended."""
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()
    return child.pid


def names(folder):
    return {path.name for path in folder.iterdir()}


def test_the_folder_holds_all_files_and_nothing_is_left_beside_it(out):
    assert names(out) == FILES
    assert names(out.parent) == {"results"}


def test_pushes_read_back(out, result):
    back = pd.read_csv(out / "pushes.csv")
    assert list(back.columns) == list(result.pushes.columns)
    np.testing.assert_allclose(back["blade_off_s"], result.pushes["blade_off_s"], atol=0.5e-5, rtol=0)
    assert back["blade_on_s"].isna().equals(result.pushes["blade_on_s"].isna().reset_index(drop=True))


def test_provenance_names_every_file_and_keeps_what_the_analysis_says(out):
    provenance = verify(out)
    assert set(provenance["files"]) == FILES - {"provenance.json"}
    assert provenance["files"]["pushes.csv"] == sha256(out / "pushes.csv")
    assert provenance["inputs"] == {"run-1/l.csv": "ab" * 32}
    assert provenance["settings"] == {"filter": "strapdown"}
    assert provenance["version"]


def test_equal_results_give_equal_bytes(out, result, tmp_path):
    write_results(result, tmp_path / "again", PAGES)
    assert {p.name: sha256(p) for p in out.iterdir()} == {
        p.name: sha256(p) for p in (tmp_path / "again").iterdir()
    }


def test_the_dictionary_describes_every_column(out):
    package = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))
    for resource in package["resources"]:
        header = (out / resource["path"]).read_text(encoding="utf-8").splitlines()[0].split(",")
        assert [field["name"] for field in resource["schema"]["fields"]] == header
        assert resource["hash"] == f"sha256:{sha256(out / resource['path'])}"
        assert set(resource["schema"]["primaryKey"]) <= set(header)


def test_signals_read_back_within_half_a_count(out, result):
    skate = result.runs[0].kinematics["left"]
    with h5py.File(out / "session.h5") as file:
        group = file["runs/run-1/left"]
        for name, values in (
            ("acceleration", skate.acceleration_m_s2),
            ("angular_velocity", skate.angular_velocity_rad_s),
        ):
            scale = group[name].attrs["scale"]
            np.testing.assert_allclose(group[name][:] * scale, values, atol=0.51 * scale, rtol=0)
            assert group[name].fletcher32
        np.testing.assert_allclose(
            group["orientation"][0] * group["orientation"].attrs["scale"], [1, 0, 0, 0]
        )
        assert group.attrs["rate_hz"] == skate.rate_hz
        np.testing.assert_array_equal(group["events/push"][:], np.arange(10))
        assert file["runs/run-1/right"].attrs["offset_s"] == -2.5


def test_paths_of_blades_and_body_read_back(out, result):
    run = result.runs[0]
    with h5py.File(out / "session.h5") as file:
        group = file["runs/run-1"]
        for name, values in (
            ("left/path/position", run.paths["left"].position_m),
            ("right/path/time", run.paths["right"].time_s),
            ("body/time", run.body.time_s),
            ("body/position", run.body.position_m),
            ("body/position_sd", np.full(len(run.body.time_s), 0.05)),
            ("body/speed", run.body.speed_m_s),
            ("body/speed_sd", run.body.speed_sd_m_s),
            ("body/gate_position", run.body.gate_m),
            ("body/gate_time", run.body.gate_s),
        ):
            np.testing.assert_allclose(group[name][:], values, rtol=1e-12, err_msg=name)
        assert {data.attrs["unit"] for data in group["body"].values()} == {"s", "m", "m/s"}
        assert group["body"].attrs["clock"] == "run"
        assert "body" not in file["runs/run-2"]


def test_every_column_of_a_run_is_described(result):
    gates = Gates(np.array([0.0, 10.0, 30.48]), np.array([0.0, 2.1, 4.8]))
    row = run_row("run-1", "left_skate", no_pushes(), gates, usable=True, reason="")
    package = data_package(result.session, {"runs": run_table([row])}, {}, {"runs.csv": ("", 0)})
    fields = {field["name"]: field for field in package["resources"][0]["schema"]["fields"]}
    assert list(fields) == list(row)
    assert all(field.get("description") for field in fields.values())
    assert "from gate 2 to gate 3" in fields["split_2_s"]["description"]
    assert fields["gate_3_speed_m_s"]["unit"] == "m/s"
    assert "gate_3_speed_m_s" in fields["gate_3_speed_m_s_sd"]["description"]


@pytest.mark.parametrize("name", ["pushes.csv", "session.h5", "datapackage.json"])
def test_a_changed_file_is_refused(out, name):
    with (out / name).open("r+b") as stream:
        stream.seek(100)
        byte = stream.read(1)
        stream.seek(100)
        stream.write(bytes([byte[0] ^ 1]))
    with pytest.raises(FileFormatError, match=f"{name}.*was changed"):
        verify(out)


def test_a_missing_file_is_refused(out):
    (out / "runs.csv").unlink()
    with pytest.raises(FileFormatError, match=r"runs\.csv is missing"):
        verify(out)


@pytest.mark.parametrize(
    "content", ["{", "[]", '{"program": "other", "files": {}}', '{"program": "imustride"}']
)
def test_a_strange_provenance_is_refused(out, content):
    (out / "provenance.json").write_text(content, encoding="utf-8")
    with pytest.raises(FileFormatError, match=r"provenance\.json"):
        verify(out)


def test_a_folder_that_is_no_result_has_no_provenance(tmp_path):
    with pytest.raises(FileFormatError, match="no provenance"):
        verify(tmp_path)


def test_earlier_results_are_replaced(out, result):
    (out / "runs.csv").write_text("spoiled", encoding="utf-8")
    write_results(result, out, PAGES)
    assert verify(out)
    assert names(out.parent) == {"results"}


def test_a_foreign_file_is_never_replaced(out, result):
    (out / "notes.txt").write_text("mine", encoding="utf-8")
    before = names(out)
    with pytest.raises(SettingsError, match=r"notes\.txt"):
        write_results(result, out, PAGES)
    assert names(out) == before


def test_a_folder_of_other_things_is_never_replaced(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"thesis\.txt"):
        check_target(tmp_path)


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "results").write_text("mine", encoding="utf-8")
    with pytest.raises(SettingsError, match="found a file"):
        check_target(tmp_path / "results")


def test_an_empty_folder_may_be_used(tmp_path, result):
    (tmp_path / "results").mkdir()
    write_results(result, tmp_path / "results", PAGES)
    assert verify(tmp_path / "results")


def fail_inside(target):
    with swapped_in(target) as folder:
        (folder / "half").write_text("half", encoding="utf-8")
        message = "no space"
        raise OSError(message)


def test_a_failure_while_writing_leaves_the_former_results(out):
    with pytest.raises(OSError, match="no space"):
        fail_inside(out)
    assert verify(out)
    assert names(out.parent) == {"results"}


def test_an_interrupted_swap_is_undone_at_the_next_start(out, gone):
    out.rename(out.parent / f".results.replaced-{gone}-00000000")
    (out.parent / f".results.partial-{gone}-00000000").mkdir()
    check_target(out)
    assert verify(out)
    assert names(out.parent) == {"results"}


def test_an_interrupted_removal_is_finished_at_the_next_start(out, gone):
    (out.parent / f".results.replaced-{gone}-00000000").mkdir()
    check_target(out)
    assert names(out.parent) == {"results"}


@pytest.mark.skipif(os.name != "posix", reason="elsewhere a process cannot be asked for without harm")
def test_a_writer_at_work_is_left_alone(out):
    partial = out.parent / f".results.partial-{os.getppid()}-00000000"
    partial.mkdir()
    check_target(out)
    assert partial.is_dir()


def test_a_killed_writer_leaves_the_former_results_and_is_cleaned_up(out):
    script = (
        "import os, pathlib, sys\n"
        "from imustride.exporting.swap import swapped_in\n"
        "with swapped_in(pathlib.Path(sys.argv[1])) as folder:\n"
        "    (folder / 'half').write_text('half')\n"
        "    os._exit(9)\n"
    )
    killed = subprocess.run([sys.executable, "-c", script, out], check=False)
    assert killed.returncode == 9
    assert len(names(out.parent)) == 2
    check_target(out)
    assert verify(out)
    assert names(out.parent) == {"results"}
