"""One error, one traceback: an error that says all of another again does not show that one too."""

from __future__ import annotations

import traceback

import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.reading import load_layout, load_session_file, read_counter, read_touchstone
from aotf_lab.reading.instruments import UNSTATED
from aotf_lab.reading.long.power import reduce_power_log
from aotf_lab.record import read_record
from aotf_lab.session.rerun.results import SessionResults

DAMAGED = {
    "notes.toml": (b"a = [1\n", load_layout),
    "old.json": (b"[1, 2", read_record),
    "latin.toml": (b"a = \xff\n", load_layout),
}


def shown(error):
    """What Python prints of an error (PEP 409: ``from None`` keeps the one before it out)."""
    return "".join(traceback.format_exception(error))


@pytest.mark.parametrize(
    "read",
    [load_session_file, load_layout, read_touchstone, read_record, SessionResults.from_json,
     lambda path: read_counter(path, UNSTATED), lambda path: reduce_power_log(path, block_s=1.0)],
)  # fmt: skip
def test_a_file_that_is_not_there_is_told_once(read, tmp_path):
    with pytest.raises(AotfLabError, match="No such file or directory") as caught:
        read(tmp_path / "gone.csv")
    assert shown(caught.value).count("Traceback") == 1
    assert "FileNotFoundError" not in shown(caught.value)


@pytest.mark.parametrize("name", list(DAMAGED))
def test_a_damaged_file_is_told_once(name, tmp_path):
    content, read = DAMAGED[name]
    (tmp_path / name).write_bytes(content)
    with pytest.raises(AotfLabError, match=f"^{name}.*; found .*; allowed") as caught:
        read(tmp_path / name)
    assert shown(caught.value).count("Traceback") == 1
