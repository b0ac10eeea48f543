"""The command ``hitchcall``: ties the commands together and turns errors into sentences."""

from __future__ import annotations

import os
import sys

import click

from assistant import __version__
from assistant.errors import HitchcallError

COMMANDS = {
    "run": ("assistant.commands.run", "run"),
    "hear": ("assistant.commands.hear", "hear"),
    "ready": ("assistant.commands.ready", "ready"),
    "lint": ("assistant.commands.lint", "lint"),
    "prove": ("assistant.proof.commands", "prove"),
    "phrases": ("assistant.commands.phrases", "phrases"),
    "sheet": ("assistant.commands.sheet", "sheet"),
    "log": ("assistant.commands.log", "log"),
    "debrief": ("assistant.commands.debrief", "debrief"),
    "practise": ("assistant.commands.practise", "practise"),
}


class Lazy(click.Group):
    """Loads a command's module only when it is used, so that the command starts quickly."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own signature
        """Return the commands in the order they are met."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load one command."""
        if cmd_name not in COMMANDS:
            return None
        import importlib  # noqa: PLC0415 - as above

        module, name = COMMANDS[cmd_name]
        command: click.Command = getattr(importlib.import_module(module), name)
        return command


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="hitchcall")
def cli() -> None:
    """Spoken step assistant for coupling and uncoupling a tractor and a semi-trailer.

    It advises. It measures nothing on the vehicle and replaces no inspection, law, maker's
    instruction or training.
    """


def main() -> None:
    """Run the command line; every error a person can mend is one plain sentence."""
    try:
        status = cli.main(standalone_mode=False)
    except click.exceptions.Exit as done:
        status = done.exit_code
    except click.ClickException as error:
        click.echo(f"hitchcall: {error.format_message()}", err=True)
        status = 2
    except click.Abort:
        click.echo("hitchcall: broken off; a run that was under way can be resumed.", err=True)
        status = 130
    except HitchcallError as error:
        for sentence in str(error).splitlines():
            click.echo(f"hitchcall: {sentence}", err=True)
        status = error.exit_status
    except BrokenPipeError:
        # Whoever read our output has gone; nothing more can be told them.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 141
    sys.exit(status if isinstance(status, int) else 0)


if __name__ == "__main__":
    main()
