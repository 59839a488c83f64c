"""What a command loads: its help click alone, its work what it needs."""

from __future__ import annotations

import json
import subprocess
import sys

import click
import pytest

from dewmargin.cli import COMMANDS, cli
from dewmargin.studies.demo import demo_folder

HOUSE = demo_folder() / "scenarios" / "larch_house.toml"


def loaded(*commands: list[str]) -> set[str]:
    """Return the modules, but those of Python itself, that commands load in one new process."""
    code = f"""
import sys
before = set(sys.modules)
from click.testing import CliRunner
from dewmargin.cli import cli
for arguments in {list(commands)!r}:
    done = CliRunner().invoke(cli, arguments)
    assert done.exit_code == 0, done.output
found = set(sys.modules) - before
import json
print(json.dumps([name for name in found if name.split(".")[0] not in sys.stdlib_module_names]))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout))


def packages(modules: set[str]) -> set[str]:
    return {name.split(".")[0] for name in modules} - {"colorama"}  # click's, on Windows


def test_the_list_of_commands_loads_click_alone_and_no_command() -> None:
    modules = loaded(["--help"])

    assert packages(modules) == {"click", "dewmargin"}
    assert {name for name in modules if name.startswith("dewmargin")} == {
        "dewmargin",
        "dewmargin.cli",
        "dewmargin.cli.lazy_group",
        "dewmargin.errors",
    }


def test_the_help_of_every_command_loads_click_alone() -> None:
    names = [[name] for name in cli.commands]
    group = cli.commands["check-site"]
    assert isinstance(group, click.Group)
    names += [["check-site", name] for name in group.commands]

    modules = loaded(*([*name, "--help"] for name in names))

    assert packages(modules) == {"click", "dewmargin"}


@pytest.mark.slow
def test_a_check_loads_nothing_that_only_compares_or_draws() -> None:
    modules = loaded(["check", str(HOUSE)])

    assert not {"dewmargin.studies.compare", "dewmargin.plot.charts"} & modules
    assert not packages(modules) & {"eppy", "jinja2", "matplotlib", "pandas", "pyarrow"}


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_says_of_a_command_what_the_command_says(name: str) -> None:
    command = cli.commands[name]
    listed = click.Command(name, help=COMMANDS[name].help)

    assert command.name == name
    assert command.help is not None
    assert " ".join(command.help.split("\n\n")[0].split()) == COMMANDS[name].help
    for width in range(10, 200):
        assert listed.get_short_help_str(width) == command.get_short_help_str(width)


def test_the_names_are_known_before_a_command_is_loaded() -> None:
    context = click.Context(cli)

    assert cli.list_commands(context) == sorted(COMMANDS)
    assert list(cli.commands) == list(COMMANDS)
    assert len(cli.commands) == len(COMMANDS)
    assert cli.get_command(context, "comparee") is None
