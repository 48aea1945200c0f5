"""Progress on a terminal: what is done, with its count; nothing elsewhere."""

import io

from snugline.desk.console import progress, silent


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_count_shows_on_a_terminal(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with progress() as step:
        step("measuring photos, 1 of 4 done", 1, 4)
    assert "measuring photos, 1 of 4 done" in terminal.getvalue()


def test_elsewhere_it_is_silent(monkeypatch):
    stream = io.StringIO()
    monkeypatch.setattr("sys.stderr", stream)
    with progress() as step:
        assert step is silent
        step("measuring", 1, 4)
    assert stream.getvalue() == ""
