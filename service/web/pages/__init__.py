"""Answers as people read them: no decisions, only words on a page."""
