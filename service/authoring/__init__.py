"""What people who write knowledge prove it with: cases, coverage, counts and comparison.

A room of its own beside the web, because it runs the engine on many packs and screens and needs
no server.
"""
