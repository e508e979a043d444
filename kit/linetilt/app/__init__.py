"""The command and the screens."""
