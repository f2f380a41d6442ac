"""The group `xlate log`: every command lives in a module of its own, imported when it is used."""

import importlib

import click

COMMANDS = {
    "import": ("tools.cli.log_import", "import_command"),
    "export": ("tools.cli.log_import", "export_command"),
    "try-inspect": ("tools.cli.log_try", "try_command"),
    "inspect": ("tools.cli.log_inspect", "inspect_command"),
    "draft": ("tools.cli.log_draft", "draft_command"),
    "compare": ("tools.cli.log_compare", "compare_command"),
    "find-input": ("tools.cli.log_find_input", "find_input_command"),
    "sleep": ("tools.cli.log_sleep", "sleep_command"),
    "redact": ("tools.cli.log_redact", "redact_command"),
    "generate": ("tools.cli.log_generate", "generate_command"),
    "speed": ("tools.cli.log_speed", "speed_command"),
    "replay": ("tools.cli.logs", "replay_command"),
}
"""Name -> module and the click command in it, in the order a new log is worked on."""


class LogGroup(click.Group):
    """A group that imports a command when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands in the order of work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, None when there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module, name = COMMANDS[cmd_name]
        found = getattr(importlib.import_module(module), name)
        if not isinstance(found, click.Command):
            raise TypeError(f"{module}.{name} is no click command")
        return found


@click.group("log", cls=LogGroup)
def command() -> None:
    """Read bus logs: find out what is sent, draft a pairing, replay, compare."""
