"""What the system says of a CAN network interface: its rate, and whether it only listens.

On Linux these are settings of the interface, made by `ip link` with the right to do so; a program
that merely listens can read them and say what to type.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass

_WAIT_S = 2.0


@dataclass(frozen=True, slots=True)
class Link:
    """One CAN network interface as the system tells it."""

    up: bool
    bitrate: int | None
    """Bit/s; None: not set, or a virtual interface."""
    listen_only: bool | None
    """None: not told (a virtual interface has no such mode)."""
    state: str | None
    """State of the controller: 'ERROR-ACTIVE', 'ERROR-PASSIVE', 'BUS-OFF', 'STOPPED', ..."""


def read_link(text: str) -> Link | None:
    """Read what `ip -details -json link show NAME` prints; None where it tells of no link."""
    try:
        told = json.loads(text)
    except ValueError:
        return None
    one = told[0] if isinstance(told, list) and told else None
    if not isinstance(one, dict):
        return None
    info = one.get("linkinfo")
    info = info if isinstance(info, dict) else {}
    data = info.get("info_data")
    data = data if isinstance(data, dict) else {}
    timing, modes = data.get("bittiming"), data.get("ctrlmode")
    bitrate = timing.get("bitrate") if isinstance(timing, dict) else None
    flags = one.get("flags")
    return Link(
        "UP" in flags if isinstance(flags, list) else False,
        bitrate if isinstance(bitrate, int) and bitrate > 0 else None,
        "LISTEN-ONLY" in modes
        if isinstance(modes, list)
        else (False if info.get("info_kind") == "can" else None),
        str(data["state"]) if "state" in data else None,
    )


def ask_link(name: str, run: Callable[[list[str]], str] | None = None) -> Link | None:
    """Ask the system about an interface; None where it cannot be asked or does not know it."""
    run = _run if run is None else run
    try:
        return read_link(run(["ip", "-details", "-json", "link", "show", name]))
    except (OSError, subprocess.SubprocessError):
        return None


def _run(command: list[str]) -> str:
    path = shutil.which(command[0])
    if path is None:
        raise FileNotFoundError(command[0])
    done = subprocess.run(
        [path, *command[1:]], capture_output=True, text=True, timeout=_WAIT_S, check=False
    )
    return done.stdout


def set_up_words(name: str, bitrate: int) -> str:
    """Say what to type so that an interface listens only, at a rate."""
    return (
        f"`ip link set {name} down; ip link set {name} type can bitrate {bitrate} listen-only on; "
        f"ip link set {name} up`"
    )
