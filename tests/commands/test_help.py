"""Help and options, by looking at the commands themselves."""

from __future__ import annotations

import click
import pytest
from command_line import ROOT, Hitchcall

from assistant.cli import COMMANDS, cli


def _commands(group: click.Group, before: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], click.Command]]:
    context = click.Context(group)
    found = []
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        found.append(((*before, name), command))
        if isinstance(command, click.Group):
            found += _commands(command, (*before, name))
    return found


@pytest.mark.parametrize(("words", "command"), _commands(cli), ids=lambda one: " ".join(one) if isinstance(one, tuple) else "")
def test_every_command_and_option_explains_itself(words: tuple[str, ...], command: click.Command) -> None:
    """A trainer can follow every command from its help alone."""
    assert command.help, words
    assert len(command.help) > 30
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, (words, option.name)


def test_every_command_stands_in_the_readme() -> None:
    """The README tells of every command there is."""
    text = (ROOT / "README.md").read_text()
    assert [name for name in COMMANDS if f"hitchcall {name}" not in text] == []


def test_the_command_starts_without_loading_what_it_does_not_use(hitchcall: Hitchcall) -> None:
    """Help must come up at once on a small tablet: no recogniser, no web server is loaded for it."""
    ended = hitchcall("--help")
    assert ended.status == 0
    assert all(name in ended.out for name in COMMANDS)
