"""Captions in a real browser: a track of a playing medium is read, cue for cue, and shown on the foot's own side."""

import base64
import functools
import http.server
import io
import threading
import wave

import pandas as pd
import pytest

from imustride.exporting.captions import FilmTime, cues, webvtt
from imustride.results import RunResult

HOSTILE = "<b>toe & heel</b> --> \N{RIGHT-TO-LEFT OVERRIDE}é"
PAGE = """<!DOCTYPE html><meta charset="utf-8"><link rel="icon" href="data:,"><title>film</title>
<video src="data:audio/wav;base64,{sound}" width="640" height="360"><track default kind="captions" src="run-1.vtt"></video>"""
LOADED = """
const done = arguments[0], video = document.querySelector('video'), element = document.querySelector('track');
const finish = () => {
  if (element.readyState === 1) return setTimeout(finish, 20);
  done([element.readyState, [...(element.track.cues || [])].map(
    cue => [cue.id, cue.startTime, cue.endTime, cue.getCueAsHTML().textContent, cue.align, cue.position, cue.size])]);
};
element.track.mode = 'showing';
finish();
"""
SHOWN = """
const [at, done] = arguments, video = document.querySelector('video'), track = document.querySelector('track').track;
const look = () => setTimeout(() => done([...track.activeCues].map(cue => cue.text.split('\\n')[0])), 100);
const seek = () => { video.addEventListener('seeked', look, {once: true}); video.currentTime = at; };
if (video.readyState >= 1) seek(); else video.addEventListener('loadedmetadata', seek, {once: true});
"""
ROWS = [("left", 1, 1.0, 1.4), ("right", 1, 1.25, 1.7), ("left", 2, 1.6, 2.0), ("right", 2, 1.9, 2.3)]
LOADED_STATE = 2  # HTMLTrackElement.LOADED of the HTML standard


@pytest.fixture(scope="module")
def film(browser, tmp_path_factory):
    """Open a page with a silent medium of ten seconds and the captions of a run made by hand."""
    folder = tmp_path_factory.mktemp("film")
    table = pd.DataFrame(ROWS, columns=["side", "push", "blade_on_s", "blade_off_s"]).assign(flags="")
    run = RunResult("run-1", table, {}, {}, usable=True)
    captions, _ = cues(
        run, FilmTime(0.0, 1.0), lambda row: [f"{row['side'][0].upper()}{row['push']}", HOSTILE]
    )
    (folder / "run-1.vtt").write_text(webvtt(captions, [HOSTILE]), encoding="utf-8", newline="\n")
    # In the page itself: a server that gives no pieces of a file cannot be sought in.
    (folder / "index.html").write_text(PAGE.format(sound=silence()), encoding="utf-8")
    server = http.server.ThreadingHTTPServer(
        ("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder))
    )
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    browser.get_log("browser")  # what earlier pages left
    browser.get(f"http://127.0.0.1:{server.server_port}/index.html")
    yield browser
    browser.get("about:blank")
    server.shutdown()
    thread.join()
    server.server_close()


def silence():
    """Ten seconds of sound without a tone, as text."""
    held = io.BytesIO()
    with wave.open(held, "wb") as sound:
        sound.setparams((1, 1, 8000, 0, "NONE", ""))
        sound.writeframes(bytes([128]) * 80_000)
    return base64.b64encode(held.getvalue()).decode()


class Quiet(http.server.SimpleHTTPRequestHandler):
    """A server of a folder that says nothing."""

    extensions_map = http.server.SimpleHTTPRequestHandler.extensions_map | {".vtt": "text/vtt"}

    def log_message(self, *_):
        pass


def test_every_caption_is_read_as_meant(film):
    state, found = film.execute_async_script(LOADED)
    assert state == LOADED_STATE
    said = "<b>toe & heel</b> --> é"
    assert found == [
        ["run-1 left 1", 2.0, 2.6, f"L1\n{said}", "left", 4, 46],
        ["run-1 right 1", 2.25, 2.9, f"R1\n{said}", "right", 96, 46],
        ["run-1 left 2", 2.6, 4.6, f"L2\n{said}", "left", 4, 46],
        ["run-1 right 2", 2.9, 4.9, f"R2\n{said}", "right", 96, 46],
    ]
    assert film.get_log("browser") == []


@pytest.mark.parametrize(
    ("at_s", "shown"), [(1.9, []), (2.1, ["L1"]), (2.4, ["L1", "R1"]), (2.7, ["R1", "L2"]), (4.7, ["R2"])]
)
def test_the_captions_of_both_feet_are_shown_at_their_times(film, at_s, shown):
    assert film.execute_async_script(SHOWN, at_s) == shown
