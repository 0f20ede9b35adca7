"""A reader in a process of its own: what it may not do, and what becomes of it."""

import os
import subprocess
import time

import numpy as np
import pytest

from imustride.loaders.apart import EndedEarlyError, read_apart


@pytest.fixture
def reader(tmp_path):
    def write(body):
        path = tmp_path / "reader.py"
        path.write_text(body)
        return str(path)

    return write


def refusal(script, *, cpu_s=10, longest_s=None):
    with pytest.raises(EndedEarlyError) as caught:
        list(read_apart(script, [], cpu_s, longest_s))
    return str(caught.value)


def test_mappings_and_arrays_come_as_they_are(reader):
    script = reader(
        "import numpy as np\n"
        "def read(word, numbers):\n"
        "    yield {'word': word}\n"
        "    yield np.array(numbers)\n"
        "    yield np.empty((0, 7))\n"
        "    print('a library says something')\n"
        "    yield np.full((2, 1), np.nan)\n"
    )
    told, first, empty, last = read_apart(script, ["\xe9\n", [[1, 2], [3, 4.5]]], 10)
    assert told == {"word": "\xe9\n"}
    np.testing.assert_array_equal(first, [[1, 2], [3, 4.5]])
    assert empty.shape == (0, 7)
    np.testing.assert_array_equal(last, [[np.nan], [np.nan]])


@pytest.mark.parametrize(
    ("body", "found"),
    [
        ("raise ValueError('odd  bytes\\n here')", "odd bytes here"),
        ("os.kill(os.getpid(), 11)", "the reader was ended by SIGSEGV"),
        ("os._exit(3)", "status 3"),
        ("os.kill(os.getpid(), 9)", "the computer has no memory left"),
        ("os.kill(os.getpid(), 40)", "ended by signal 40"),
        ("os.write(3, b'[9, 9]\\n12345'); os._exit(0)", "status 0"),
        ("os.write(3, b'hello\\n'); os._exit(0)", "its reader said b'hello"),
        ("os.write(3, b'5\\n'); os._exit(0)", "its reader said b'5"),
        ("import ironing_board", "No module named 'ironing_board'"),
    ],
)
@pytest.mark.skipif(os.name != "posix", reason="only POSIX systems end processes by signals")
def test_what_becomes_of_it_is_told(reader, body, found):
    assert found in refusal(reader(f"import os\ndef read():\n    yield {{}}\n    {body}\n"))


@pytest.mark.skipif(os.name != "posix", reason="only POSIX systems limit what a process uses")
def test_it_has_little_memory_and_time(reader):
    assert "needs more than 1073741824 bytes" in refusal(
        reader("def read():\n    yield {'a': len(bytearray(1 << 30))}\n")
    )
    busy = reader("def read():\n    yield {}\n    while True:\n        pass\n")
    assert refusal(busy, cpu_s=1) == "reading took too long"
    assert refusal(busy, longest_s=0.5).startswith("reading took too long")


def test_it_imports_nothing_from_the_current_folder(reader, monkeypatch, tmp_path):
    (tmp_path / "numpy.py").write_text("raise SystemExit('from here')")
    monkeypatch.chdir(tmp_path)
    script = reader("import numpy as np\ndef read():\n    yield np.ones(2)\n")
    assert len(next(read_apart(script, [], 10))) == 2


@pytest.mark.skipif(os.name != "posix", reason="ps is a command of POSIX systems")
def test_it_ends_with_who_stops_listening(reader):
    script = reader("import os\ndef read():\n    while True:\n        yield {'process': os.getpid()}\n")
    items = read_apart(script, [], 10)
    process = next(items)["process"]
    items.close()
    time.sleep(0.05)
    assert subprocess.run(["ps", "-p", str(process)], capture_output=True, check=False).returncode == 1  # noqa: S607
