"""Calibrations that are kept, checked and renewed."""

__all__: list[str] = []
