"""Timing: how fast the light follows, from edges and modulation to what a bit rate allows."""
