"""The table of commands; each is imported only when it runs, so that `--help` stays quick."""

from __future__ import annotations

from importlib import import_module
from typing import Any, NamedTuple

import click

from shearbolt.cli.manner import Group


class Entry(NamedTuple):
    """Where a command is, and its line in the help."""

    module: str
    name: str
    words: str


COMMANDS: dict[str, Entry] = {
    "add": Entry("add", "add", "Bring recordings in."),
    "listen": Entry("listen", "listen", "Listen to a machine's bus, and file what was heard."),
    "ask": Entry("ask", "ask", "Ask a machine what it tells only when asked."),
    "watch": Entry("watch", "watch", "Record unattended, into a folder to carry away."),
    "serve": Entry("serve", "serve", "Serve the pages, to this computer alone."),
    "note": Entry("note", "note", "Write down a code, a symptom or an event."),
    "yard": Entry("look", "yard", "Show the fleet at a glance."),
    "machine": Entry("look", "machine", "Show one machine."),
    "visit": Entry("look", "visit", "Show one visit."),
    "faults": Entry("faults", "faults", "Show what is wrong with which machine."),
    "fault": Entry("faults", "fault", "Show one fault."),
    "signals": Entry("signals", "signals", "Give the decoded samples of a visit."),
    "tells": Entry("look", "tells", "Show which readings and manners a machine really has."),
    "baseline": Entry("learning", "baseline", "Keep what a healthy machine's readings are."),
    "learn": Entry("learning", "learn", "Find which bits go with what a person does."),
    "check": Entry("check", "check", "File what came of a check; alone, check the book."),
    "repair": Entry("repair", "repair", "File what was done to cure a fault."),
    "cause": Entry("cause", "cause", "Keep what a fault truly was."),
    "sunday": Entry("planning", "sunday", "One page for the week: two lines a machine."),
    "work": Entry("planning", "work", "Order the shop's work by what each job buys."),
    "forecast": Entry("planning", "forecast", "Tell the chance of getting through the hours."),
    "service": Entry("service", "service", "Keep service due by engine hours and by date."),
    "costs": Entry("costs", "costs", "Keep what things cost you."),
    "courses": Entry("costs", "courses", "Do it yourself or call: what each is expected to cost."),
    "handover": Entry("handover", "handover", "Write one page for the technician."),
    "secondhand": Entry("planning", "secondhand", "Tell what an unknown machine's memory shows."),
    "rename": Entry("rename", "rename", "Give a machine another name."),
    "own": Entry("own", "own", "Keep signals and code texts of your own."),
    "export": Entry("carry", "export", "Write everything of a machine in open formats."),
    "import-book": Entry("carry", "import_book", "Take in another book or a backup of one."),
    "backup": Entry("carry", "backup", "Copy the whole book somewhere else."),
    "demo": Entry("demo", "demo", "Try it on invented machines."),
}
"""Every command, in the order of the help."""


class CommandTable(Group):
    """The group of all commands; knows their help lines without importing them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Give the names in the table's order."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command; None where there is no such one."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        module = import_module(f"shearbolt.cli.cmd_{entry.module}")
        command: Any = getattr(module, entry.name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the help's list of commands from the table alone."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.words) for name, entry in COMMANDS.items()])


def _version(context: click.Context, param: click.Parameter, value: bool) -> None:
    if not value or context.resilient_parsing:
        return
    from importlib.metadata import version

    click.echo(f"shearbolt {version('shearbolt')}")
    context.exit()


@click.group(
    cls=CommandTable,
    name="shearbolt",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="shearbolt COMMAND --help says more about each.",
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_version,
    help="Print the version.",
)
def shearbolt() -> None:
    """Remember the fault codes of a mixed fleet of machines, and what came of them."""
