"""`serve` as a person runs it: it tells its address, answers this computer alone, and ends."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from tests.command_line import COMMAND, call, environment

from shearbolt.errors import UsageError
from shearbolt.web.serving import HOST, opened_port


@pytest.mark.skipif(sys.platform == "win32", reason="no such signals there")
def test_it_serves_until_it_is_asked_to_end(book: Path) -> None:
    with subprocess.Popen(
        [*COMMAND, "--book", str(book), "serve", "--port", "0", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
    ) as running:
        try:
            assert running.stdout is not None
            told = json.loads(running.stdout.readline())
            assert told["schema"] == "shearbolt/serve/1"
            assert told["book"] == str(book)
            with urllib.request.urlopen(told["address"] + "healthz", timeout=60) as answer:
                assert answer.read() == b"ok\n"
            running.send_signal(signal.SIGINT)
            out, err = running.communicate(timeout=60)
        finally:
            running.kill()
    assert running.returncode == 0, err
    assert out == ""
    assert "Traceback" not in err


def test_a_port_that_is_taken_is_one_sentence(book: Path) -> None:
    with opened_port(0) as taken:
        number = taken.getsockname()[1]
        with pytest.raises(UsageError):
            opened_port(number)
        told = call(book, "serve", "--port", str(number), "--json")
        assert told.status == 2
        assert told.sentence == (
            f"Port {number} of this computer is taken; stop what uses it, or choose another with "
            "--port."
        )


def test_only_this_computer_is_answered() -> None:
    with opened_port(0) as taken:
        assert taken.getsockname()[0] == HOST
        assert taken.family == socket.AF_INET
        # asyncio asks for this before it turns off the waiting for full packets.
        assert taken.proto == socket.IPPROTO_TCP
