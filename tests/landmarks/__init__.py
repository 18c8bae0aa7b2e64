"""Tests of the room that reads body landmarks."""
