"""The command line: parse, delegate, print.

`dewmargin --help` loads click alone: a command is imported when it is asked for, and imports what
computes when it runs.
"""

from __future__ import annotations

import io
import os
import sys

import click

from dewmargin.cli.lazy_group import LazyGroup, Listed
from dewmargin.errors import DewmarginError, OutputError

INTERRUPTED = 130
READER_GONE = 141  # as a shell reports a closed pipe
COMMANDS = {
    "demo": Listed(
        "dewmargin.cli.compare:demo",
        "Compare strategies for an invented house, from weather alone and from a simulation.",
    ),
    "compare": Listed(
        "dewmargin.cli.compare:compare",
        "Run every option of SCENARIO (a TOML file) and compare them.",
    ),
    "frontier": Listed(
        "dewmargin.cli.studies:frontier",
        "Find the set-point lines of SCENARIO that no other line beats, and the best in a limit.",
    ),
    "size": Listed(
        "dewmargin.cli.studies:size",
        "Find the load of SCENARIO, and the least size of each equipment that meets it.",
    ),
    "stress": Listed(
        "dewmargin.cli.studies:stress",
        "Say how sure the comparison of SCENARIO is: draw its doubtful inputs again and again.",
    ),
    "sweep": Listed(
        "dewmargin.cli.sweep:sweep",
        "Solve all cases of SWEEP (a TOML file): a scenario with every combination of inputs.",
    ),
    "check": Listed(
        "dewmargin.cli.inputs:check",
        "Validate SCENARIO and its files; list what will be used, and every default.",
    ),
    "weather": Listed(
        "dewmargin.cli.inputs:weather",
        "Inspect an EPW FILE: gaps, design humidity, dryness, and how its humidity reads.",
    ),
    "prepare": Listed(
        "dewmargin.cli.runs:prepare",
        "Copy MODEL (an IDF or epJSON file) and add the outputs that a comparison needs.",
    ),
    "simulate": Listed(
        "dewmargin.cli.runs:simulate",
        "Run MODEL (a prepared IDF) in WEATHER (an EPW file), to be compared with --run.",
    ),
    "verify": Listed(
        "dewmargin.cli.results:verify",
        "Check that the results in FOLDER are whole and as they were written.",
    ),
    "report": Listed(
        "dewmargin.cli.results:report",
        "Make the page of the results in a folder again; of several folders, one side by side.",
    ),
    "figure": Listed(
        "dewmargin.cli.results:figure",
        "Draw one chart of the results in FOLDER as a file of its own, for a paper.",
    ),
    "schema": Listed(
        "dewmargin.cli.inputs:schema",
        "Print the JSON Schema of a scenario file, for editors that check while one types.",
    ),
    "extensions": Listed(
        "dewmargin.cli.inputs:extensions",
        "List the readers, strategies, equipment and reports that are installed, and by whom.",
    ),
    "sheet": Listed(
        "dewmargin.cli.site:sheet",
        "Write one page for the site: fit, set, measure, watch.",
    ),
    "check-site": Listed(
        "dewmargin.cli.site:check_site",
        "Check on site: sensor, control circuit, water line, measured values.",
    ),
}


@click.group(
    cls=LazyGroup, places=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(package_name="dewmargin")
def cli() -> None:
    """Compare indoor-humidity strategies, humidifiers and water supplies, hour by hour."""


def main() -> None:
    """Run the command line; errors raised on purpose become one line and their exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A character that a terminal cannot show must not end the program.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        code = cli(standalone_mode=False)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nothing to flush at exit
        sys.exit(READER_GONE)
    except OSError as error:
        click.echo(f"error: standard output: cannot be written: {error.strerror}", err=True)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(OutputError.exit_code)
    except DewmarginError as error:
        click.echo(f"error: {error}", err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        sys.exit(INTERRUPTED)
    sys.exit(code if isinstance(code, int) else 0)
