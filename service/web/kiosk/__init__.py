"""The touch page for trainer and client: one question at a time, safety first, then the plan."""
