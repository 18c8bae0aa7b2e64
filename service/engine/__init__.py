"""Pure functions of (screen, graph): no clock, no randomness, no I/O."""
