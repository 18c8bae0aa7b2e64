"""The published contract: written from the structs themselves, so that it cannot say otherwise."""
