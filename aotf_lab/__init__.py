"""aotf_lab."""
