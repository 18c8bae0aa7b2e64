"""One file for each group of routes; each returns handlers that the composition root mounts."""
