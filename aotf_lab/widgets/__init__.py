"""Live panels in a notebook: thin skins over pure functions."""

__all__: list[str] = []
