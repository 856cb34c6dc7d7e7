"""The command ``pilotlamp``: one module a command."""
