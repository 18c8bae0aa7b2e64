"""The published contract and the example screens, shipped as data."""
