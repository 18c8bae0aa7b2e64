"""Frozen structs that every other room shares: no I/O, no framework, no decisions."""
