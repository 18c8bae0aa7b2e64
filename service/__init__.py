"""Movewright: from a screen of how a client moves to a drill plan that says why."""

__version__ = "0.1.0"
