"""The browser that the tests of the pages drive: the system's Chromium, installed where missing."""

from __future__ import annotations

import os
import shutil
import subprocess
import time

from bootstrap.tree import say

NAMES = ("chromium", "chromium-browser", "chrome", "google-chrome")
"""The programs that tests/web/browser.py looks for."""
PACKAGES = ("chromium", "fonts-dejavu-core")


def set_up_browser() -> None:
    """Install Chromium from the system's packages where there is none and apt can be used.

    Where it cannot, the tests of the pages that need a browser are left out, and say so.
    """
    if os.environ.get("SHEARBOLT_CHROMIUM") or any(shutil.which(name) for name in NAMES[:3]):
        return
    apt = shutil.which("apt-get")
    if apt is None:
        say("No Chromium was found; the tests of the pages in a browser are left out.")
        return
    may = [] if os.name != "posix" or os.geteuid() == 0 else ["sudo", "-n"]
    if may and shutil.which("sudo") is None:
        say("Chromium can only be installed by the administrator: apt-get install chromium")
        return
    say("Installing Chromium from the system's packages, for the tests of the pages ...")
    began = time.monotonic()
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for words in (
        ("update", "-q"),
        ("install", "-q", "-y", "--no-install-recommends", *PACKAGES),
    ):
        done = subprocess.run(
            [*may, apt, *words], check=False, env=environment, capture_output=True, text=True
        )
        if done.returncode:
            last = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["no word why"]
            say(f"Chromium could not be installed ({last[0]}); its tests are left out.")
            return
    say(f"Chromium is there after {time.monotonic() - began:.0f} s.")
