"""The commands. No logic of their own: options in, one call of a room, lines out. docs/commands.md describes them.

One module a command; each is loaded when its command is run, so that help and shell completion answer at once.
"""

from fieldkit.cli.program import main

__all__ = ["main"]
