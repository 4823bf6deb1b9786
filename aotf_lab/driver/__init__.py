"""Placeholder line, replaced as the room is built."""
